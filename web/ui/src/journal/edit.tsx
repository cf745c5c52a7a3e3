// A note is put right: its amount with the keys for gloves, its time, rows and
// words; and what it said before.
import { useEffect, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { store, useData } from '../state'
import { Pad } from './pad'

// moved gives a time some minutes away as the program reads one, in the logbook's
// zone: 2026-05-02 14:05.
export function moved(time: string, minutes: number, zone: string): string {
  const part = new Intl.DateTimeFormat('en-CA', { timeZone: zone, year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit', hourCycle: 'h23' })
    .formatToParts(new Date(Date.parse(time) + minutes * 60000))
  const of = (type: string) => part.find((p) => p.type === type)?.value ?? ''
  return `${of('year')}-${of('month')}-${of('day')} ${of('hour')}:${of('minute')}`
}

const steps = [-15, -5, -1, 1, 5, 15]

export function Edit({ n, close }: { n: api.Note, close: () => void }) {
  const line = n.lines[0]!
  const amount = n.lines.length === 1 && line.value !== null && ['setting', 'refill', 'dig', 'count'].includes(line.what)
  const [value, setValue] = useState('')
  const [words, setWords] = useState(n.words)
  const [shift, setShift] = useState(0)
  const [rows, setRows] = useState<string | null>(null)
  const [seen, setSeen] = useState<api.Note | null>(null)
  const [error, setError] = useState('')
  const [was, setWas] = useState(false)
  const head = useRef<HTMLHeadingElement>(null)
  useEffect(() => head.current?.focus(), [])
  const said = words.trim() !== n.words.trim() && words.trim() !== ''
  const body = (): Record<string, unknown> => ({
    ...said ? { text: words.trim() } : value !== '' ? { amount: Number(value) } : {},
    ...shift !== 0 ? { at: moved(n.time!, shift, store.book?.zone ?? 'UTC') } : {},
    ...rows !== null ? { rows: rows || 'all' } : {},
  })
  const ready = said || value !== '' || shift !== 0 || rows !== null
  useEffect(() => {
    if (!ready) { setSeen(null); setError(''); return }
    let over = false
    const t = setTimeout(() => {
      api.send<api.Note>('PATCH', '/journal/' + n.id, { ...body(), try: true }).then(
        (x) => { if (!over) { setSeen(x); setError('') } },
        (e: Error) => { if (!over) { setSeen(null); setError(e.message) } })
    }, 250)
    return () => { over = true; clearTimeout(t) }
  }, [value, words, shift, rows])
  const keep = async () => {
    try {
      const x = await api.send<api.Note>('PATCH', '/journal/' + n.id, body())
      close()
      store.say(`Corrected: ${x.clock}: ${x.lines.map((l) => l.says).join('; ')}`)
      void store.load()
    } catch (e) { setError((e as Error).message) }
  }
  const back = async () => {
    try {
      await api.send('DELETE', '/journal/' + n.id)
      close()
      store.say('Taken back.')
      void store.load()
    } catch (e) { setError((e as Error).message) }
  }
  const now = rows ?? line.rows
  const sides = [['', 'all rows'], ['left', 'left'], ['right', 'right']] as const
  return <form aria-label="Correct a note" onSubmit={(e) => { e.preventDefault(); if (ready && seen) void keep() }}>
    <h2 ref={head} tabIndex={-1}>{n.clock}: {n.lines.map((l) => l.says).join('; ')}</h2>
    <div class={amount ? 'write near' : 'near'}>
      {amount && <Pad value={value} set={setValue} unit={line.unit} was={String(line.value)} />}
      <div>
        <div class="lab" aria-hidden="true">Time, minutes earlier or later</div>
        <div class="buttons" role="group" aria-label={shift === 0 ? 'Another time, minutes' : `Another time, minutes: ${shift > 0 ? '+' : ''}${shift}`}>
          {steps.map((k) => <button type="button" key={k} aria-label={`${Math.abs(k)} minutes ${k < 0 ? 'earlier' : 'later'}`} onClick={() => setShift((x) => x + k)}>{k < 0 ? '−' : '+'}{Math.abs(k)}</button>)}
          <span class="soft">{shift === 0 ? '' : `${shift > 0 ? '+' : '−'}${Math.abs(shift)} min`}</span>
        </div>
        <div class="lab" aria-hidden="true">Rows</div>
        <div class="buttons" role="group" aria-label="Rows">
          {sides.map(([v, name]) => <button type="button" key={v} aria-pressed={now === v} onClick={() => setRows(v)}>{name}</button>)}
          <label class="inline">rows <input size={7} aria-label="Rows by number, such as 1-4,7" value={/^\d/.test(now) ? now : ''} placeholder="1-4,7" onInput={(e) => setRows(e.currentTarget.value)} /></label>
        </div>
        {(n.words || !amount) && <label class="field near"><span>In words</span><input value={words} autocomplete="off" onInput={(e) => setWords(e.currentTarget.value)} /></label>}
        <div class="near understood" aria-live="polite">
          {seen && <p><b>{seen.clock}: {seen.lines.map((l) => l.says).join('; ')}.</b> {seen.supposed.join(' ')}</p>}
          {error && <p role="alert">{error}</p>}
        </div>
        <div class="buttons near">
          <button class="first" type="submit" disabled={!seen}>Put it right</button>
          <button type="button" onClick={() => void back()}>Take it back</button>
          <button type="button" onClick={close}>Leave it</button>
          {n.edits > 0 && <button type="button" aria-expanded={was} onClick={() => setWas(!was)}>As it was ({n.edits})</button>}
        </div>
      </div>
    </div>
    {was && <History id={n.id} />}
  </form>
}

function History({ id }: { id: number }) {
  const h = useData<api.NoteHistory>(`/journal/${id}/history`)
  if (!h.data) return <p class="near soft" role="status">{h.error || 'One moment…'}</p>
  return <ol class="near was" aria-label="As it was">{h.data.versions.filter((v) => !v.now).map((v) => <li key={v.written}>
    {v.lines.map((l) => l.says).join('; ')} <small class="soft from">of {v.clock}, {v.day}; written {v.written}{v.words && `: “${v.words}”`}</small>
  </li>)}</ol>
}
