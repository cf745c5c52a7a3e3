// The journal: what was done, in big buttons, and the line of what was written.
import { useEffect, useState } from 'preact/hooks'
import * as api from '../api'
import { Title, Wait } from '../parts'
import { looking, store, useData, useStore } from '../state'
import { Pad } from './pad'

// What is done often. The note is put together as people write it, so that the
// program says back how it understands it.
export interface Kind {
  name: string
  ask: 'value' | 'words' | 'row'
  unit: [us: string, metric: string]
  text: (value: string, unit: string) => string
  step?: number
  hint?: string
}

const kinds: Kind[] = [
  { name: 'Cleaners', ask: 'value', unit: ['psi', 'bar'], text: (v, u) => `cleaners ${v} ${u}` },
  { name: 'Row force', ask: 'value', unit: ['lb', 'kg'], text: (v, u) => `down force to ${v} ${u}` },
  { name: 'Closers', ask: 'value', unit: ['psi', 'bar'], text: (v, u) => `closers ${v} ${u}` },
  { name: 'Depth', ask: 'value', unit: ['in', 'cm'], text: (v, u) => `depth ${v} ${u}` },
  { name: 'Speed', ask: 'value', unit: ['mph', 'km/h'], text: (v, u) => `speed ${v} ${u}` },
  { name: 'Hybrid or lot', ask: 'words', unit: ['', ''], text: (v) => `lot ${v}`, hint: 'its number or name' },
  { name: 'Filled seed', ask: 'value', unit: ['units', 'units'], text: (v, u) => `filled ${v} ${u}` },
  { name: 'Filled liquid', ask: 'value', unit: ['gal', 'L'], text: (v, u) => `filled ${v} ${u}` },
  { name: 'Filled dry', ask: 'value', unit: ['lb', 'kg'], text: (v, u) => `filled ${v} ${u}` },
  { name: 'Dug', ask: 'row', unit: ['in', 'cm'], text: (v, u) => `dug ${v} ${u}` },
  { name: 'Fixed a row', ask: 'words', unit: ['', ''], text: (v) => `fixed ${v}`, hint: 'row 7: new singulator' },
  { name: 'Say it in words', ask: 'words', unit: ['', ''], text: (v) => v, hint: '2:05 pm cleaners 30 to 22 psi' },
]

export function Journal() {
  const d = useData<{ notes: api.Note[] }>('/journal')
  const [kind, setKind] = useState<Kind | null>(null)
  return <>
    <Title page="Journal">What changed?</Title>
    {looking() ? null : kind ? <Write kind={kind} close={() => setKind(null)} />
      : <div class="grid gap">{kinds.map((k) => <button key={k.name} onClick={() => setKind(k)}>{k.name}</button>)}</div>}
    <section class="gap"><Wait of={d}>{(d) => <Line notes={d.notes} />}</Wait></section>
  </>
}

// Line lists what was written, newest first, by day.
function Line({ notes }: { notes: api.Note[] }) {
  const [old, setOld] = useState(false)
  if (notes.length === 0) return <p class="soft">Nothing is written yet. What you note here is put beside the logs: since when, on which rows, and later whether it helped.</p>
  const shown = notes.filter((n) => !n.taken_back || old).slice(0, old ? 500 : 30)
  const days: { day: string, notes: api.Note[] }[] = []
  for (const n of shown) {
    if (days.at(-1)?.day !== n.day) days.push({ day: n.day, notes: [] })
    days.at(-1)!.notes.push(n)
  }
  return <>
    {days.map((d) => <section key={d.day}>
      <div class="group"><h2>{d.day}</h2></div>
      {d.notes.map((n) => <div class="note" key={n.id}>
        <span class="nowrap">{n.clock}</span>
        <div>{n.lines.map((l, i) => <div key={i} class={n.taken_back ? 'gone' : undefined}>{l.says}</div>)}
          {n.taken_back && <small class="soft">taken back</small>}</div>
        {!n.taken_back && !looking() && <button class="quiet" aria-label={`Take back: ${n.lines[0]?.says}`} onClick={() => void back(n.id)}>Undo</button>}
      </div>)}
    </section>)}
    <p class="near still"><button class="quiet" onClick={() => setOld(!old)}>{old ? 'Fewer' : 'Older ones and those taken back'}</button></p>
  </>
}

async function back(id: number): Promise<void> {
  try {
    await api.send('DELETE', '/journal/' + id)
    store.say('Taken back.')
    void store.load()
  } catch (e) { store.say((e as Error).message) }
}

const whens: [string, string][] = [['', 'now'], ['5 min ago', '5 min ago'], ['15 min ago', '15 min ago'], ['30 min ago', '30 min ago'], ['1 hour ago', 'an hour ago']]

function Write({ kind, close }: { kind: Kind, close: () => void }) {
  const s = useStore()
  const metric = s.book?.units === 'metric'
  const unit = kind.unit[metric ? 1 : 0]
  const [value, setValue] = useState('')
  const [row, setRow] = useState('')
  const [rows, setRows] = useState('')
  const [at, setAt] = useState('')
  const [error, setError] = useState('')
  const [seen, setSeen] = useState<api.Note | null>(null)
  const body = () => ({ text: kind.ask === 'row' ? `dug row ${row || '?'}: ${value} ${unit}` : kind.text(value.trim(), unit), at: kind.name === 'Say it in words' ? '' : at, rows: kind.ask === 'row' || kind.ask === 'words' ? '' : rows })
  const ready = value.trim() !== '' && (kind.ask !== 'row' || row !== '')
  // How it is understood is said while one types.
  useEffect(() => {
    if (!ready) { setSeen(null); setError(''); return }
    let over = false // what is typed next is asked about then
    const t = setTimeout(() => {
      api.send<api.Note>('POST', '/journal', { ...body(), try: true }).then(
        (n) => { if (!over) { setSeen(n); setError('') } },
        (e: Error) => { if (!over) { setSeen(null); setError(e.message) } })
    }, 250)
    return () => { over = true; clearTimeout(t) }
  }, [value, row, rows, at])
  const write = async () => {
    try {
      const n = await api.send<api.Note>('POST', '/journal', body())
      close()
      store.say(`${n.clock}: ${n.lines.map((l) => l.says).join('; ')}`, async () => { await api.send('DELETE', '/journal/' + n.id) })
      void store.load()
    } catch (e) { setError((e as Error).message) }
  }
  const sides = [['', 'all rows'], ['left', 'left'], ['right', 'right']] as const
  const words = kind.ask === 'words'
  return <form class="gap" onSubmit={(e) => { e.preventDefault(); if (ready) void write() }}>
    <h2>{kind.name}</h2>
    <div class={words ? 'near' : 'write near'}>
      {words
        ? <label class="field"><span>{kind.hint ?? 'In words'}</span><input value={value} autocomplete="off" autofocus onInput={(e) => setValue(e.currentTarget.value)} /></label>
        : <Pad value={value} set={setValue} unit={unit} />}
      <div>
        {kind.ask === 'row' && <label class="field"><span>Row</span><input inputMode="numeric" value={row} onInput={(e) => setRow(e.currentTarget.value.replace(/\D/g, ''))} /></label>}
        {kind.ask === 'value' && <div class="buttons" role="group" aria-label="Rows">
          {sides.map(([v, name]) => <button type="button" key={v} aria-pressed={rows === v} onClick={() => setRows(v)}>{name}</button>)}
          <label class="inline">rows <input size={7} aria-label="Rows by number, such as 1-4,7" value={/^\d/.test(rows) ? rows : ''} placeholder="1-4,7" onInput={(e) => setRows(e.currentTarget.value)} /></label>
        </div>}
        {kind.name !== 'Say it in words' && <div class="buttons near" role="group" aria-label="When">
          {whens.map(([v, name]) => <button type="button" key={v} aria-pressed={at === v} onClick={() => setAt(v)}>{name}</button>)}
        </div>}
        <div class="near understood" aria-live="polite">
          {seen && <p><b>{seen.clock}: {seen.lines.map((l) => l.says).join('; ')}.</b> {seen.supposed.join(' ')}</p>}
          {error && <p role="alert">{error}</p>}
        </div>
        <div class="buttons near"><button class="first" type="submit" disabled={!seen}>Write it down</button><button type="button" onClick={close}>Back</button></div>
      </div>
    </div>
  </form>
}
