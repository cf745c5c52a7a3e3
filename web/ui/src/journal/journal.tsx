// The journal: what was done, in big buttons, and the line of what was written.
import { useEffect, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { Pick, Title, Wait } from '../parts'
import { stay, usePlace } from '../route'
import { looking, store, useData, useStore } from '../state'
import { Edit, moved } from './edit'
import { Followed } from './followed'
import { Pad } from './pad'

// What is done often. The note is put together as people write it, so that the
// program says back how it understands it.
export interface Kind {
  name: string
  ask: 'value' | 'words' | 'row'
  // States that it may have in place of a number.
  states?: string[]
  unit: [us: string, metric: string]
  text: (value: string, unit: string) => string
  step?: number
  hint?: string
}

const kinds: Kind[] = [
  { name: 'Cleaners', ask: 'value', unit: ['psi', 'bar'], text: (v, u) => `cleaners ${v} ${u}` },
  { name: 'Down force', ask: 'value', unit: ['lb', 'kg'], states: ['automatic', 'fixed', 'off'], text: (v, u) => /^\d|^\./.test(v) ? `down force to ${v} ${u}` : `force mode ${v}` },
  { name: 'Closers', ask: 'value', unit: ['psi', 'bar'], text: (v, u) => `closers ${v} ${u}` },
  { name: 'Depth', ask: 'value', unit: ['in', 'cm'], text: (v, u) => `depth ${v} ${u}` },
  { name: 'Speed', ask: 'value', unit: ['mph', 'km/h'], text: (v, u) => `speed ${v} ${u}` },
  { name: 'Hybrid or lot', ask: 'words', unit: ['', ''], text: (v) => `lot ${v}`, hint: 'Its number or name' },
  { name: 'Filled seed', ask: 'value', unit: ['units', 'units'], text: (v, u) => `filled ${v} ${u}` },
  { name: 'Filled liquid', ask: 'value', unit: ['gal', 'L'], text: (v, u) => `filled ${v} ${u}` },
  { name: 'Filled dry', ask: 'value', unit: ['lb', 'kg'], text: (v, u) => `filled ${v} ${u}` },
  { name: 'Dug', ask: 'row', unit: ['in', 'cm'], text: (v, u) => `dug ${v} ${u}` },
  { name: 'Fixed a row', ask: 'words', unit: ['', ''], text: (v) => `fixed ${v}`, hint: 'What was fixed, such as row 7: new singulator' },
  { name: 'Say it in words', ask: 'words', unit: ['', ''], text: (v) => v, hint: 'What changed, such as 2:05 pm cleaners 30 to 22 psi' },
]

export function Journal() {
  const { q } = usePlace()
  const day = q.get('day') ?? ''
  const d = useData<api.Journal>('/journal' + api.query({ day }))
  const [kind, setKind] = useState<Kind | null>(null)
  // The form comes in the place of the buttons, and they in its: who works by keys
  // goes on from the button that was pressed.
  const grid = useRef<HTMLDivElement>(null)
  const pressed = useRef<Kind | null>(null)
  useEffect(() => {
    if (!kind && pressed.current) grid.current?.querySelectorAll('button')[kinds.indexOf(pressed.current)]?.focus()
    pressed.current = kind
  }, [kind])
  return <>
    <Title page="Journal">What changed?</Title>
    {looking() ? null : kind ? <Write kind={kind} day={d.data?.day ?? ''} label={d.data?.label ?? ''} close={() => setKind(null)} />
      : <div class="grid gap" ref={grid}>{kinds.map((k) => <button key={k.name} onClick={() => setKind(k)}>{k.name}</button>)}</div>}
    <section class="gap" aria-label="What changed, newest first"><Wait of={d}>{(d) => <Line d={d} whose={whoseOf(q.get('whose'))} sort={sortOf(q.get('kind'))} />}</Wait></section>
  </>
}

// Whose entries are shown: all, those that people wrote, those of the boxes.
export type Whose = 'all' | 'mine' | 'boxes'
const whoseOf = (t: string | null): Whose => t === 'mine' || t === 'boxes' ? t : 'all'

// What is shown: all, or one sort.
export const sorts = [
  ['settings', 'Settings', ['setting', 'target', 'level']], ['fills', 'Fills', ['refill']], ['fixes', 'Fixes', ['fix']],
  ['digs', 'Digs and counts', ['dig', 'count']], ['lots', 'Lots', ['lot']], ['remarks', 'Remarks', []],
] as const
export type Sort = typeof sorts[number][0] | ''
const sortOf = (t: string | null): Sort => sorts.find(([k]) => k === t)?.[0] ?? ''

// sortOfEntry tells which sort a line is of: what is none of the others is a
// remark.
export function sortOfEntry(x: Entry): Sort {
  const what = x.note ? x.note.lines[0]?.what : x.box!.what
  return sorts.find(([, , of]) => (of as readonly string[]).includes(what ?? ''))?.[0] ?? 'remarks'
}

export type Entry = { time: number, key: string, note?: api.Note, box?: api.BoxLine }

// entries puts a day's notes and what the boxes logged into one line, newest
// first; what was taken back only when it is asked for.
export function entries(d: Pick<api.Journal, 'notes' | 'boxes'>, whose: Whose, old: boolean): Entry[] {
  const at = (t: string | null) => t ? Date.parse(t) : 0
  const out: Entry[] = []
  if (whose !== 'boxes') for (const n of d.notes) if (old || !n.taken_back) out.push({ time: at(n.logged[0]?.time ?? n.time), key: 'n' + n.id, note: n })
  if (whose !== 'mine') d.boxes.forEach((b, i) => out.push({ time: at(b.logged?.[0]?.time ?? b.time), key: `b${i} ${b.source}`, box: b }))
  return out.sort((a, b) => b.time - a.time)
}

// Line shows one day, with the way to the others.
function Line({ d, whose, sort }: { d: api.Journal, whose: Whose, sort: Sort }) {
  const [old, setOld] = useState(false)
  const [edit, setEdit] = useState(0)
  const planters = store.book?.planters.length ?? 0
  if (!d.day) return <Empty />
  const i = d.days.findIndex((x) => x.day === d.day)
  const later = d.days[i - 1], before = i < 0 ? d.days.find((x) => x.day < d.day) : d.days[i + 1]
  const all = entries(d, whose, old)
  const shown = all.filter((x) => !sort || sortOfEntry(x) === sort)
  const there = sorts.filter(([k]) => k === sort || all.some((x) => sortOfEntry(x) === k))
  const back = d.notes.filter((n) => n.taken_back).length
  const count = (k: Whose) => (k === 'boxes' ? 0 : d.notes.length - back) + (k === 'mine' ? 0 : d.boxes.length)
  const pick = (day: string | undefined) => { if (day) stay({ day: day === d.days[0]?.day ? undefined : day }) }
  const kinds: [Whose, string][] = [['all', 'All'], ['mine', looking() ? 'By hand' : 'Mine'], ['boxes', 'Boxes']]
  return <>
    <div class="days">
      <button aria-label={before ? `Day before: ${before.label}` : 'No day before'} disabled={!before} onClick={() => pick(before?.day)}>‹ <span>Before</span></button>
      <label><span class="hush">Day</span><select value={d.day} onChange={(e) => pick(e.currentTarget.value)}>
        {i < 0 && <option value={d.day}>{d.label}</option>}
        {d.days.map((x) => <option key={x.day} value={x.day}>{x.label}{x.mine + x.boxes > 0 ? ` (${x.mine + x.boxes})` : ''}</option>)}
      </select></label>
      <button aria-label={later ? `Day after: ${later.label}` : 'No day after'} disabled={!later} onClick={() => pick(later?.day)}><span>After</span> ›</button>
      <div class="buttons" role="group" aria-label="Whose">
        {kinds.map(([k, name]) => <button key={k} aria-pressed={whose === k} onClick={() => stay({ whose: k === 'all' ? undefined : k })}>{name} <span class="soft">{count(k)}</span></button>)}
      </div>
    </div>
    {there.length > 1 && <div class="buttons kinds" role="group" aria-label="Of what">
      <button aria-pressed={!sort} onClick={() => stay({ kind: undefined })}>Everything</button>
      {there.map(([k, name]) => <button key={k} aria-pressed={sort === k} onClick={() => stay({ kind: sort === k ? undefined : k })}>{name} <span class="soft">{all.filter((x) => sortOfEntry(x) === k).length}</span></button>)}
    </div>}
    <h2 class="hush">{d.label}</h2>
    {shown.length === 0 && sort && all.length > 0 && <p class="near soft">None of these that day.</p>}
    {all.length === 0 && <p class="near soft">{whose === 'boxes' ? 'No box logged anything but measurements that day.' : whose === 'mine' ? 'Nobody wrote anything down that day.' : 'Nothing was written down that day, and no box logged anything but measurements.'}</p>}
    {shown.length > 0 && <p class="soft dots"><i class="dot" aria-hidden="true" /> by hand <i class="dot ring" aria-hidden="true" /> entered by a box</p>}
    <ul class="line">{shown.map((x) => x.note ? edit === x.note.id && !x.note.taken_back
      ? <li class="note mine open" key={x.key}><Edit n={x.note} close={() => setEdit(0)} /></li>
      : <Mine key={x.key} n={x.note} open={() => setEdit(x.note!.id)} /> : <Boxed key={x.key} b={x.box!} planters={planters} />)}</ul>
    {d.more > 0 && whose !== 'mine' && <p class="near soft">The boxes logged {d.more} lines more, which are not shown.</p>}
    {back > 0 && whose !== 'boxes' && <p class="near still"><button aria-pressed={old} onClick={() => setOld(!old)}>{old ? 'Without those taken back' : `Also those taken back (${back})`}</button></p>}
  </>
}

const from = (of: api.BoxLine[]) => [...new Set(of.map((b) => b.from))].map((t, i) => i > 0 ? t.replace(/^logged: /, '') : t).join(', ')

// Boxed is a line that a box entered. Where a person wrote the same change into a
// box's journal, the box that measured it stands for it.
function Boxed({ b, planters }: { b: api.BoxLine, planters: number }) {
  const of = b.logged ?? []
  const says = of.length > 0 ? of : [b]
  return <li class="note">
    <span class="nowrap">{says[0]!.clock}</span>
    <div>{says.map((x, i) => <div key={i}>{x.says}</div>)}
      <small class="soft from">{from(of.length > 0 ? [...of, b] : [b])}{of.length > 0 && `; written at ${b.clock}`}{planters > 1 && `, ${b.planter}`}</small></div>
    <Followed of={[...b.effects, ...of.flatMap((x) => x.effects)]} />
  </li>
}

function Mine({ n, open }: { n: api.Note, open: () => void }) {
  const old = n.taken_back
  const logged = n.logged.length > 0
  const words = <>
    {(logged ? n.logged : n.lines).map((l, i) => <span class={old ? 'row gone' : 'row'} key={i}>{l.says}</span>)}
    <small class="soft from">{old ? 'by hand, taken back' : logged ? `${from(n.logged)}; by hand at ${n.clock}: ${n.words || n.lines[0]?.says}` : 'by hand'}{n.edits > 0 && ', corrected'}{(store.book?.planters.length ?? 0) > 1 && `, ${n.planter}`}{!old && !looking() && <span class="link" aria-hidden="true"> · correct it</span>}</small>
  </>
  return <li class="note mine">
    <span class="nowrap">{n.logged[0]?.clock ?? n.clock}</span>
    <div>{old || looking() ? words : <button class="asnote" title="Correct it" onClick={open}><span class="hush">Correct: </span>{words}</button>}</div>
    {!old && !looking() && <button aria-label={`Undo: ${n.lines[0]?.says}`} onClick={() => void back(n.id)}>Undo</button>}
    <Followed of={n.effects} />
  </li>
}

// Empty says what comes here, before anything has.
function Empty() {
  return <div class="notice">
    <h2>Nothing yet</h2>
    <p class="near">Here stands what changed, by the clock: what you press or type above, and what the boxes log beside their measurements, such as refills, remarks and targets that were set.</p>
    <p class="near">A note is put beside the logs: since when, on which rows, and later whether it helped.</p>
    {!looking() && <p class="near still"><a href="/bring">Bring the logs of a day</a></p>}
  </div>
}

async function back(id: number): Promise<void> {
  try {
    await api.send('DELETE', '/journal/' + id)
    store.say('Taken back.')
    void store.load()
  } catch (e) { store.say((e as Error).message) }
}

// newest tells how the day of a note is named in the address: not at all where it
// is the newest.
async function newest(day: string): Promise<{ day?: string }> {
  const j = await api.get<api.Journal>('/journal')
  return j.days[0]?.day === day ? {} : { day }
}

// planterOf is what a note is about at first, where there are several: the planter
// of the last day. One alone need not be named.
export function planterOf(b: Pick<api.Book, 'planters' | 'days'> | null): string {
  if (!b || b.planters.length < 2) return ''
  return b.days.at(-1)?.planter ?? b.planters[0]!
}

const whens: [string, string][] = [['', 'now'], ['5 min ago', '5 min ago'], ['15 min ago', '15 min ago'], ['30 min ago', '30 min ago'], ['1 hour ago', 'an hour ago']]

// timesOf offers times of an earlier day: when planting began, when it stood longest,
// and when it ended. What is done to a planter is done where it stands.
export function timesOf(passes: Pick<api.PassInfo, 'start' | 'end'>[], zone: string, clock: (t: string) => string): [string, string][] {
  const ps = passes.filter((p) => p.start && p.end).sort((a, b) => Date.parse(a.start!) - Date.parse(b.start!))
  if (ps.length === 0) return []
  const out: [string, string][] = [[moved(ps[0]!.start!, -1, zone), `start, ${clock(ps[0]!.start!)}`]]
  let longest = 0, at = ''
  for (let i = 1; i < ps.length; i++) {
    const stood = Date.parse(ps[i]!.start!) - Date.parse(ps[i - 1]!.end!)
    if (stood > longest) [longest, at] = [stood, ps[i - 1]!.end!]
  }
  if (longest >= 5 * 60_000) out.push([moved(at, 1, zone), `longest stop, ${clock(at)}`])
  const last = ps.at(-1)!.end!
  out.push([moved(last, 1, zone), `end, ${clock(last)}`])
  return out
}

// atOf writes a typed time as the program reads it: of the day that is shown, where
// it says no day of its own.
export function atOf(typed: string, day: string, today: string): string {
  const t = typed.trim()
  if (t === '' || day === '' || day === today || !/^(at )?(\d{1,2}([:.]?\d\d)? ?([ap]\.?m?\.?)?|noon)$/i.test(t)) return t
  return `${day} ${t.replace(/^at /i, '')}`
}

function Write({ kind, day, label, close }: { kind: Kind, day: string, label: string, close: () => void }) {
  const s = useStore()
  const metric = s.book?.units === 'metric'
  const unit = kind.unit[metric ? 1 : 0]
  const [value, setValue] = useState('')
  const [row, setRow] = useState('')
  const [rows, setRows] = useState('')
  const [at, setAt] = useState('')
  const [typed, setTyped] = useState('')
  const [chosen, choose] = useState('')
  const zone = s.book?.zone ?? 'UTC'
  const today = moved(new Date().toISOString(), 0, zone).slice(0, 10)
  const earlier = day !== '' && day !== today
  const passes = useData<{ passes: api.PassInfo[] }>('/passes' + api.query({ day: day || today }))
  const clock = (t: string) => new Date(t).toLocaleTimeString(metric ? 'en-GB' : 'en-US', { timeZone: zone, hour: 'numeric', minute: '2-digit' }).toLowerCase()
  const times: [string, string][] = earlier ? [['', 'now'], ...timesOf(passes.data?.passes ?? [], zone, clock)] : whens
  const when = typed.trim() ? atOf(typed, day, today) : at
  const first = useRef<HTMLInputElement & HTMLHeadingElement>(null)
  useEffect(() => first.current?.focus(), [])
  const planter = chosen || planterOf(s.book)
  const [error, setError] = useState('')
  const [seen, setSeen] = useState<api.Note | null>(null)
  const body = () => ({ text: kind.ask === 'row' ? `dug row ${row || '?'}: ${value} ${unit}` : kind.text(value.trim(), unit), at: kind.name === 'Say it in words' ? '' : when, rows: kind.ask === 'row' || kind.ask === 'words' ? '' : rows, planter })
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
  }, [value, row, rows, when, planter])
  const write = async () => {
    try {
      const n = await api.send<api.Note>('POST', '/journal', body())
      close()
      if (location.pathname === '/journal') stay({ day: undefined, ...await newest(n.date).catch(() => ({})) })
      store.say(`${n.clock}: ${n.lines.map((l) => l.says).join('; ')}`, async () => { await api.send('DELETE', '/journal/' + n.id) })
      void store.load()
    } catch (e) { setError((e as Error).message) }
  }
  const sides = [['', 'all rows'], ['left', 'left'], ['right', 'right']] as const
  const words = kind.ask === 'words'
  return <form class="gap" onSubmit={(e) => { e.preventDefault(); if (ready) void write() }}>
    <h2 ref={words ? undefined : first} tabIndex={-1}>{kind.name}</h2>
    <div class={words ? 'near' : 'write near'}>
      {words
        ? <label class="field"><span>{kind.hint ?? 'In words'}</span><input ref={first} value={value} autocomplete="off" onInput={(e) => setValue(e.currentTarget.value)} /></label>
        : <Pad value={kind.states?.includes(value) ? '' : value} set={(v) => setValue((was) => { const w = kind.states?.includes(was) ? '' : was; return typeof v === 'string' ? v : v(w) })} unit={unit} />}
      <div>
        {kind.states && <><div class="lab" aria-hidden="true">Mode</div><div class="buttons" role="group" aria-label="Mode">{kind.states.map((v) => <button type="button" key={v} aria-pressed={value === v} onClick={() => setValue(value === v ? '' : v)}>{v}</button>)}</div></>}
        {kind.ask === 'row' && <label class="field"><span>Row</span><input inputMode="numeric" value={row} onInput={(e) => setRow(e.currentTarget.value.replace(/\D/g, ''))} /></label>}
        {kind.ask === 'value' && <><div class="lab" aria-hidden="true">Rows</div><div class="buttons" role="group" aria-label="Rows">
          {sides.map(([v, name]) => <button type="button" key={v} aria-pressed={rows === v} onClick={() => setRows(v)}>{name}</button>)}
          <label class="inline">rows <input size={7} aria-label="Rows by number, such as 1-4,7" value={/^\d/.test(rows) ? rows : ''} placeholder="1-4,7" onInput={(e) => setRows(e.currentTarget.value)} /></label>
        </div></>}
        {kind.name !== 'Say it in words' && <><div class="lab" aria-hidden="true">When{earlier && `: now, or on ${label}`}</div><div class="buttons" role="group" aria-label="When">
          {times.map(([v, name]) => <button type="button" key={v} aria-pressed={!typed.trim() && at === v} onClick={() => { setAt(v); setTyped('') }}>{name}</button>)}
          <label class="inline">at <input size={8} aria-label={earlier ? `Time on ${label}` : 'Time'} value={typed} placeholder={metric ? '14:05' : '2:05 pm'} autocomplete="off" onInput={(e) => setTyped(e.currentTarget.value)} /></label>
        </div></>}
        {planter && <div class="near"><Pick label="Planter" value={planter} set={choose} of={s.book!.planters.map((p) => ({ value: p, text: p }))} /></div>}
        <div class="near understood" aria-live="polite">
          {seen && <p><b>{seen.clock}: {seen.lines.map((l) => l.says).join('; ')}.</b> {seen.supposed.join(' ')}</p>}
          {error && <p role="alert">{error}</p>}
        </div>
        <div class="buttons near"><button class="first" type="submit" disabled={!seen}>Write it down</button><button type="button" onClick={close}>Back</button></div>
      </div>
    </div>
  </form>
}
