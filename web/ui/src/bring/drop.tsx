// Files and folders dropped or chosen go to the program one after the other,
// and are then read like a stick.
import { useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { looking, store } from '../state'

interface Item { name: string, file: File }

// walk lists the files below what was dropped, folders and all.
async function walk(entry: FileSystemEntry, under: string, into: Item[]): Promise<void> {
  if (entry.isFile) {
    const file = await new Promise<File>((ok, no) => (entry as FileSystemFileEntry).file(ok, no))
    into.push({ name: under + entry.name, file })
    return
  }
  const reader = (entry as FileSystemDirectoryEntry).createReader()
  for (;;) {
    const some = await new Promise<FileSystemEntry[]>((ok, no) => reader.readEntries(ok, no))
    if (some.length === 0) return
    for (const e of some) await walk(e, under + entry.name + '/', into)
  }
}

const mb = (n: number) => n < 1e6 ? `${Math.max(1, Math.round(n / 1e3))} kB` : n < 1e9 ? `${(n / 1e6).toFixed(n < 1e7 ? 1 : 0)} MB` : `${(n / 1e9).toFixed(1)} GB`

export function Drop({ started }: { started?: (job: string) => void }) {
  const [over, setOver] = useState(false)
  const [going, setGoing] = useState<{ done: number, total: number, files: number, begun: number } | null>(null)
  const [error, setError] = useState('')
  const stop = useRef<AbortController | null>(null)
  const files = useRef<HTMLInputElement>(null)
  const folder = useRef<HTMLInputElement>(null)

  const bring = async (items: Item[]) => {
    if (items.length === 0) { setError('There was no file in it.'); return }
    setError('')
    const c = stop.current = new AbortController()
    const total = items.reduce((n, i) => n + i.file.size, 0)
    const state = { done: 0, total, files: items.length, begun: Date.now() }
    setGoing({ ...state })
    let id = ''
    try {
      id = (await api.send<{ id: string }>('POST', '/uploads')).id
      let before = 0, shown = 0
      for (const { name, file } of items) {
        await api.putFile(id, name, file, (n) => {
          state.done = before + n
          if (Date.now() - shown > 200) { shown = Date.now(); setGoing({ ...state }) }
        }, c.signal)
        before += file.size
      }
      const job = await api.send<api.Job>('POST', `/uploads/${id}/read`)
      started?.(job.id)
      if (!started) store.follow(job.id)
    } catch (e) {
      if (id) void api.send('DELETE', '/uploads/' + id).catch(() => {}) // what does not come whole is brought again
      if ((e as Error).name !== 'AbortError') setError((e as Error).message)
    }
    setGoing(null)
  }
  const chosen = (l: FileList | null) => void bring([...(l ?? [])].map((file) => ({ name: file.webkitRelativePath || file.name, file })))
  const dropped = async (d: DataTransfer) => {
    const entries = [...d.items].map((i) => i.webkitGetAsEntry?.()).filter((e): e is FileSystemEntry => !!e)
    const plain = [...d.files]
    const items: Item[] = []
    try {
      for (const e of entries) await walk(e, '', items)
      await bring(entries.length ? items : plain.map((file) => ({ name: file.name, file })))
    } catch { setError('Something of it could not be opened. Is the stick still in?') }
  }
  if (looking()) return <p class="notice">This screen may only look. Bring logs where the logbook is open.</p>
  if (going) {
    const left = going.done > 0 ? (Date.now() - going.begun) / 1000 * (going.total - going.done) / going.done : 0
    return <div class="drop">
      <p role="status">Bringing {going.files === 1 ? 'one file' : `${going.files} files`}</p>
      <p>{mb(going.done)} of {mb(going.total)}{left > 1 && `, about ${Math.ceil(left)} s left`}</p>
      <progress max={going.total} value={going.done} aria-label="How much has been brought" />
      <div class="buttons"><button onClick={() => stop.current?.abort()}>Stop</button></div>
    </div>
  }
  return <div class={over ? 'drop over' : 'drop'}
    onDragOver={(e) => { e.preventDefault(); setOver(true) }} onDragLeave={() => setOver(false)}
    onDrop={(e) => { e.preventDefault(); setOver(false); if (e.dataTransfer) void dropped(e.dataTransfer) }}>
    <h2>Drop a stick's files or a folder here</h2>
    <p class="soft">Task data, bus captures, receiver logs, seed logs, tables: as they are, zipped or not. The same file twice counts once.</p>
    <div class="buttons">
      <button class="first" onClick={() => folder.current?.click()}>Choose a folder</button>
      <button onClick={() => files.current?.click()}>Choose files</button>
    </div>
    <input ref={files} type="file" multiple class="hush" tabIndex={-1} aria-label="Files to bring" onChange={(e) => chosen(e.currentTarget.files)} />
    <input ref={folder} type="file" class="hush" tabIndex={-1} aria-label="Folder to bring" {...{ webkitdirectory: true }} onChange={(e) => chosen(e.currentTarget.files)} />
    {error && <p role="alert">{error}</p>}
  </div>
}
