import { useEffect, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { Choice, Title, Wait, Wide, Wrong } from '../parts'
import { go, stay, usePlace } from '../route'
import { useData, useStore } from '../state'
import { Canvas, type View } from './canvas'

// Without a pass it opens the last one of the last day, or of the day asked for.
export function Ribbon() {
  const { q } = usePlace()
  const store = useStore()
  const key = q.get('pass') ?? ''
  const days = store.book?.days ?? []
  const last = days.filter((d) => d.passes > 0).at(-1)
  const day = q.get('day') ?? ''
  const chosen = days.find((d) => d.planter + '/' + d.day === day) ?? last
  const list = useData<{ passes: api.PassInfo[] }>(!key && chosen ? '/passes' + api.query({ planter: chosen.planter, day: chosen.day }) : '')
  useEffect(() => {
    if (key || !list.data) return
    const long = list.data.passes.filter((p) => (p.length_m ?? 0) > 60)
    const p = long.at(-1) ?? list.data.passes.at(-1)
    if (p) stay({ pass: p.key, day: undefined })
  }, [key, list.data])
  if (store.book && !last) return <><Title page="Ribbon">No pass yet.</Title><p class="near"><a href="/bring">Bring the logs of a day</a>, and each pass is drawn here, seed by seed.</p></>
  if (!key) return <><Title page="Ribbon">Ribbon</Title>{list.error ? <Wrong text={list.error} again={list.again} /> : <p class="soft near" role="status">One moment…</p>}</>
  return <PassScreen pass={key} q={q} />
}

function PassScreen({ pass, q }: { pass: string, q: URLSearchParams }) {
  const d = useData<api.Pass>('/pass' + api.query({ pass }))
  return <Wait of={d}>{(p) => <Show key={p.key} p={p} q={q} />}</Wait>
}

function Show({ p, q }: { p: api.Pass, q: URLSearchParams }) {
  const store = useStore()
  const days = store.book?.days ?? []
  const list = useData<{ passes: api.PassInfo[] }>('/passes' + api.query({ planter: p.planter, day: p.day }))
  const [said, say] = useState('')
  const [table, setTable] = useState(false)
  const view = useRef<View | null>(null)
  const focus = q.get('finding') ?? ''
  const found = p.findings.find((f) => f.id === focus)
  const seeds = p.grade === 'A' && p.places
  const to = (key: string) => go('/ribbon' + api.query({ pass: key, row: q.get('row') ?? undefined }))
  const byPlace = [...p.findings].sort((a, b) => a.from_m - b.from_m)
  const step = (way: 1 | -1) => {
    if (byPlace.length === 0) return
    const i = byPlace.findIndex((f) => f.id === focus)
    const f = byPlace[(i < 0 ? (way > 0 ? 0 : byPlace.length - 1) : (i + way + byPlace.length) % byPlace.length)]!
    stay({ finding: f.id, row: f.rows.length === 1 ? f.rows[0] : undefined })
    view.current?.showRange(f.from_m, f.to_m)
  }
  const heading = p.heading_deg === null ? '' : ['northbound', 'northeast', 'eastbound', 'southeast', 'southbound', 'southwest', 'westbound', 'northwest'][Math.round(p.heading_deg / 45) % 8] + ', '
  return <>
    <Title page="Ribbon">{p.label}</Title>
    <p class="cap">{heading}{seeds
      ? 'a ring is a place without a seed, a larger one several; joined ticks fell together, an open box is ground without seed. Zoom in and every seed appears.'
      : p.grade === 'A' ? 'the clocks do not allow single places to be told from afar: a ring says where a row skipped, by stretches of about 50 ft. Zoom in and every seed appears.'
      : 'no seed times here: a ring says where a row skipped, the larger the more, by stretches of about 50 ft.'}</p>
    <div class="passes">
      {days.length > 1 && <Choice label="Day" value={p.planter + '/' + p.day} set={(v) => go('/ribbon' + api.query({ day: v }))} of={days.map((d) => ({ value: d.planter + '/' + d.day, text: d.label }))} />}
      <Choice label="Pass" value={p.key} set={to} of={(list.data?.passes ?? [p]).map((x) => ({ value: x.key, text: x.label }))} />
      <button disabled={!p.previous} onClick={() => to(p.previous)} aria-label="Previous pass" title="Previous pass [">‹ pass</button>
      <button disabled={!p.next} onClick={() => to(p.next)} aria-label="Next pass" title="Next pass ]">pass ›</button>
      <button onClick={() => view.current?.zoom(0.5)} aria-label="Closer" title="Closer +">Closer</button>
      <button onClick={() => view.current?.zoom(2)} aria-label="Farther" title="Farther −">Farther</button>
      <button onClick={() => view.current?.whole()} title="Whole pass 0">Whole pass</button>
      {byPlace.length > 0 && <><button onClick={() => step(-1)} title="Finding before p" aria-label="Finding before">‹ finding</button><button onClick={() => step(1)} title="Next finding n" aria-label="Next finding">finding ›</button></>}
    </div>
    {found && <p class="near"><a href={'/finding/' + found.id}>{found.sentence}</a></p>}
    <Canvas p={p} q={q} say={say} view={view} focus={focus} step={step} to={to} />
    <p class="tip" aria-live="polite">{said || 'Point at a seed or a ring for its time, place and values. Arrows move, + and − zoom, n and p go from finding to finding.'}</p>
    <details class="still" open={table} onToggle={(e) => setTable(e.currentTarget.open)}><summary>As a table</summary>{table && <Table p={p} view={view} />}</details>
  </>
}

// Table lists what went wrong in the part of the pass that is shown.
function Table({ p, view }: { p: api.Pass, view: { current: View | null } }) {
  const [rows, set] = useState<string[][]>([])
  const fill = () => set(view.current?.list(300) ?? [])
  useEffect(fill, [p.key])
  return <>
    <div class="buttons"><button onClick={fill}>Of the part that is shown now</button></div>
    <Wide label="What went wrong" near><table><thead><tr><th>row</th><th>time</th><th>place</th><th>what</th></tr></thead>
      <tbody>{rows.map((r, i) => <tr key={i}>{r.map((c, k) => <td key={k}>{c}</td>)}</tr>)}</tbody></table></Wide>
    {rows.length === 0 && <p class="near">{view.current && !view.current.complete ? 'It has not all come yet: ask again in a moment.' : 'Nothing that went wrong is known in it.'}</p>}
    {rows.length >= 300 && <p class="near">These are the first 300; choose a row or go closer for the rest.</p>}
  </>
}
