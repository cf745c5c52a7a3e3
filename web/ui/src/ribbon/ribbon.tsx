import { useEffect, useMemo, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { label, stretchSays } from '../draw/scale'
import { Sheet, Title, Wait, Wrong } from '../parts'
import { go, stay, usePlace } from '../route'
import { dress, useData, useStore } from '../state'
import { Canvas, signsOf, type View } from './canvas'
import { itemsOf, Key } from './key'

// Without a pass it opens the last one of the last day, or of the day asked for.
export function Ribbon() {
  const { q } = usePlace()
  const store = useStore()
  const key = q.get('pass') ?? ''
  const days = store.book?.days ?? []
  const last = days.filter((d) => d.passes > 0).at(-1)
  const day = q.get('day') ?? ''
  const chosen = days.find((d) => d.planter + '/' + d.day === day) ?? last
  // One list serves to choose the pass and to go from it to others.
  const [of, list] = useList()
  const wanted = key || !chosen ? '' : passesOf(chosen)
  useEffect(() => { if (wanted) of(wanted) }, [wanted])
  useEffect(() => {
    if (!wanted || list.path !== wanted || !list.data) return
    const long = list.data.passes.filter((p) => (p.length_m ?? 0) > 60)
    const p = long.at(-1) ?? list.data.passes.at(-1)
    if (p) stay({ pass: p.key, day: undefined })
  }, [wanted, list.data])
  if (store.book && !last) return <><Title page="Ribbon">No pass yet.</Title><p class="near"><a href="/bring">Bring the logs of a day</a>, and each pass is drawn here, seed by seed.</p></>
  if (!key) return <><Title page="Ribbon">Ribbon</Title>{list.error ? <Wrong text={list.error} again={list.again} /> : <p class="soft near" role="status">One moment…</p>}</>
  return <PassScreen pass={key} q={q} of={of} passes={list.data?.passes} />
}

type Passes = api.PassInfo[] | undefined

const passesOf = (x: { planter: string, day: string }) => '/passes' + api.query({ planter: x.planter, day: x.day })

// useList gives the passes of a day, and what says of which.
function useList(): [(path: string) => void, { path: string, data: { passes: api.PassInfo[] } | null, error: string | null, again: () => void }] {
  const [path, of] = useState('')
  return [of, { path, ...useData<{ passes: api.PassInfo[] }>(path) }]
}

// PassScreen keeps the pass that is shown until the next one is there, so that
// keys and buttons keep the focus from pass to pass.
function PassScreen({ pass, q, of, passes }: { pass: string, q: URLSearchParams, of: (path: string) => void, passes: Passes }) {
  const d = useData<api.Pass>('/pass' + api.query({ pass }))
  const last = useRef<api.Pass | null>(null)
  if (d.data) last.current = d.data
  const p = d.data ?? (d.error ? null : last.current)
  useEffect(() => { if (p) of(passesOf(p)) }, [p?.planter, p?.day])
  return p ? <Show p={p} q={q} passes={passes} /> : <Wait of={d}>{() => null}</Wait>
}

function Show({ p, q, passes }: { p: api.Pass, q: URLSearchParams, passes: Passes }) {
  const store = useStore()
  const days = store.book?.days ?? [], units = store.book?.units
  const [said, say] = useState('')
  const [table, setTable] = useState(false)
  const view = useRef<View | null>(null)
  const focus = q.get('finding') ?? ''
  const found = p.findings.find((f) => f.id === focus)
  const places = p.grade === 'A' && p.places
  const items = useMemo(() => itemsOf(p, signsOf(p), focus, units), [p, focus, units])
  const to = (key: string) => go('/ribbon' + api.query({ pass: key, row: q.get('row') ?? undefined }))
  useEffect(() => say(''), [p.key])
  const step = (way: 1 | -1) => {
    const next = stepTo(p, focus, way)
    const here = p.findings.find((f) => f.id === next?.finding)
    say(next ? '' : way > 0 ? 'That was the last finding of the day.' : 'That was the first finding of the day.')
    if (here) {
      stay({ finding: here.id, row: next!.row || undefined })
      view.current?.showRange(here.from_m, here.to_m)
    } else if (next) go('/ribbon' + api.query({ pass: next.pass, finding: next.finding, row: next.row || undefined }))
  }
  const leads = p.steps.length > 0
  const heading = p.heading_deg === null ? '' : ['northbound', 'northeast', 'eastbound', 'southeast', 'southbound', 'southwest', 'westbound', 'northwest'][Math.round(p.heading_deg / 45) % 8] + ', '
  return <>
    <Title page="Ribbon">{p.label}</Title>
    <p class="cap">{heading}{places
      ? 'only what went wrong. Zoom in and every seed appears.'
      : p.grade === 'A' ? 'the clocks do not allow single places to be told from afar: rings by stretches of ' + stretchSays(units) + '. Zoom in and every seed appears.'
      : p.shares ? 'no seed times here: rings by stretches of ' + stretchSays(units) + '.'
      : 'seeds were only counted here: rings stand where nothing fell over ' + stretchSays(units) + '; a share of skips is not told.'}</p>
    <div class="passes">
      {days.length > 1 && <div><select aria-label="Day" value={p.planter + '/' + p.day} onChange={(e) => go('/ribbon' + api.query({ day: e.currentTarget.value }))}>{days.map((d) => <option key={d.planter + d.day} value={d.planter + '/' + d.day}>{d.label}</option>)}</select></div>}
      <div class="long">
        <button disabled={!p.previous} onClick={() => to(p.previous)} aria-label="Previous pass" title="Previous pass [">‹</button>
        <select aria-label="Pass" value={p.key} onChange={(e) => to(e.currentTarget.value)}>{(passes?.some((x) => x.key === p.key) ? passes : [p]).map((x) => <option key={x.key} value={x.key}>{x.label}</option>)}</select>
        <button disabled={!p.next} onClick={() => to(p.next)} aria-label="Next pass" title="Next pass ]">›</button>
      </div>
      <div>
        <button onClick={() => view.current?.zoom(2)} aria-label="Farther" title="Farther −">−</button>
        <button onClick={() => view.current?.whole()} aria-label="Whole pass" title="Whole pass 0">Whole</button>
        <button onClick={() => view.current?.zoom(0.5)} aria-label="Closer" title="Closer +">+</button>
      </div>
      {leads && <div>
        <span>Finding</span>
        <button onClick={() => step(-1)} aria-label="Finding before" title="Finding before p">‹</button>
        <button onClick={() => step(1)} aria-label="Next finding" title="Next finding n">›</button>
      </div>}
    </div>
    {found && <p class="near"><a href={'/finding/' + found.id}>{found.sentence}</a>{!found.listed && <span class="soft"> Not on the worklist: suspected, passing, over or set aside.</span>}</p>}
    <p class="hush" role="status">{found?.sentence}</p>
    <Canvas p={p} q={q} say={say} view={view} focus={focus} step={step} to={to} />
    <p class="tip" aria-live="polite">{said || 'Point at a seed or a ring for its time, place and values. Left and right move the line, up and down choose the row, + and − zoom, n and p go from finding to finding.'}</p>
    <details class="marks" open={innerWidth > 760 && dress() === 'shop'}><summary>What the marks mean</summary><Key items={items} /></details>
    <details class="still" open={table} onToggle={(e) => setTable(e.currentTarget.open)}><summary>As a table</summary>{table && <Table p={p} view={view} />}</details>
  </>
}

// stepTo gives the worklist's finding after the one looked at, in the order of
// time, or the one before; null where there is none further. From a pass without
// one it begins with the first there, or the last going back, and else beside it.
export function stepTo(p: Pick<api.Pass, 'steps' | 'findings' | 'start'>, focus: string, way: 1 | -1): api.Pass['steps'][number] | null {
  const of = way > 0 ? p.steps : [...p.steps].reverse()
  const at = of.findIndex((s) => s.finding === focus)
  if (at >= 0) return of[at + 1] ?? null
  const other = p.findings.find((f) => f.id === focus) // not of the worklist: by its time
  const since = Date.parse(other?.since ?? p.start!)
  return !other && of.find((s) => p.findings.some((f) => f.id === s.finding)) || of.find((s) => way * (Date.parse(s.since!) - since) > 0) || null
}

// Table lists what went wrong in the part of the pass that is shown, and the
// tracks along it.
function Table({ p, view }: { p: api.Pass, view: { current: View | null } }) {
  const take = () => ({ wrong: view.current?.list(300) ?? [], along: view.current?.along(60) ?? null, row: view.current?.row ?? 0, axis: view.current?.lengthAxis })
  const [t, set] = useState(take)
  useEffect(() => set(take()), [p.key])
  return <>
    <div class="buttons"><button onClick={() => set(take())}>Of the part that is shown now</button></div>
    <h2 class="near">What went wrong</h2>
    {t.wrong.length > 0 && <Sheet label="What went wrong" name="went-wrong"><thead><tr><th>row</th><th>time</th><th>place</th><th>what</th></tr></thead>
      <tbody>{t.wrong.map((r, i) => <tr key={i}>{r.map((c, k) => <td key={k}>{c}</td>)}</tr>)}</tbody></Sheet>}
    {t.wrong.length === 0 && <p class="near">{view.current && !view.current.complete ? 'It has not all come yet: ask again in a moment.' : 'Nothing that went wrong is known in it.'}</p>}
    {t.wrong.length >= 300 && <p class="near">These are the first 300; choose a row or go closer for the rest.</p>}
    {t.along && t.along.rows.length > 0 && <>
      <h2 class="gap">Along the pass, {t.row ? `row ${t.row}` : 'mean of rows'}, every {t.axis && label(t.axis, t.along.every)}</h2>
      <Sheet label="Along the pass" name="along-the-pass"><thead><tr>{t.along.head.map((h, k) => <th key={h} class={k > 1 ? 'n' : undefined}>{h}</th>)}</tr></thead>
        <tbody>{t.along.rows.map((r, i) => <tr key={i}>{r.map((c, k) => <td key={k} class={k > 1 ? 'n' : undefined}>{c}</td>)}</tr>)}</tbody></Sheet>
    </>}
  </>
}
