// The first lines of a table, with what each column is taken for above it.
import * as api from '../api'
import { Wide } from '../parts'

// Pending are columns of which the quantity was chosen and the unit not yet.
export type Pending = Record<string, { quantity: string, part: string }>

interface Props {
  view: api.Proposal, pending: Pending
  setPending: (p: Pending) => void
  answer: (id: string, to: string | null) => void
}

// A run is a stretch of columns side by side of the same offer; of a pattern
// only the first two are shown, the others are skipped.
export interface Run { offer: number, at: number[], skipped: number, first: boolean }

export function runs(view: Pick<api.Proposal, 'columns' | 'offers'>): Run[] {
  const out: Run[] = []
  const seen = new Map<number, number>()
  view.columns.forEach((c, i) => {
    const k = seen.get(c.offer) ?? 0
    seen.set(c.offer, k + 1)
    const last = out.at(-1)
    if (k >= 2 && (view.offers[c.offer]?.count ?? 1) > 3) {
      if (last && last.at.length === 0) last.skipped++
      else out.push({ offer: -1, at: [], skipped: 1, first: false })
    } else if (last && last.at.length > 0 && last.offer === c.offer) last.at.push(i)
    else out.push({ offer: c.offer, at: [i], skipped: 0, first: k === 0 })
  })
  return out
}

export function Table(p: Props) {
  const { view } = p
  const all = runs(view)
  const cells = all.flatMap((r) => r.at.length ? r.at : [-r.skipped])
  return <Wide label="First lines of the table, with what each column is taken for"><table class="explain">
    <thead>
      <tr>{all.map((r, i) => <td key={i} colSpan={Math.max(1, r.at.length)} class={r.offer >= 0 ? view.offers[r.offer]!.state : ''}>
        {r.offer >= 0 && (r.first ? <Head {...p} o={view.offers[r.offer]!} /> : <span class="soft small">like {view.offers[r.offer]!.column}</span>)}
      </td>)}</tr>
      <tr>{cells.map((i, k) => i < 0
        ? <td key={k} class="faint nowrap">{-i} more</td>
        : <th key={k} scope="col">{view.columns[i]!.name || 'without a name'}{view.columns[i]!.unit && <span class="soft"> {view.columns[i]!.unit}</span>}</th>)}</tr>
    </thead>
    <tbody>{view.lines.map((l, n) => <tr key={n}>{cells.map((i, k) => <td key={k} class="nowrap">{i < 0 ? '…' : l[i]}</td>)}</tr>)}</tbody>
  </table></Wide>
}

// Head is what a column is taken for: quantity, part and unit, each to choose.
function Head({ view, o, pending, setPending, answer }: Props & { o: api.ColumnView }) {
  const id = 'column ' + o.column
  const waits = pending[o.column]
  const many = o.count > 1
  const asked = o.state === 'asked' && !waits
  const quantity = waits?.quantity ?? (asked ? '' : o.quantity)
  const info = view.quantities.find((q) => q.key === quantity)
  const part = waits?.part ?? o.part
  const measured = !!info && info.ways.length > 0
  const ways = waits ? info?.ways ?? [] : o.ways
  const settle = (c: string) => { const { [c]: _, ...rest } = pending; setPending(rest) }
  const say = (q: string, pt: string, way: string) => { settle(o.column); answer(id, pt ? `${q}, ${pt}, ${way}` : `${q}, ${way}`) }
  const choose = (q: string) => {
    settle(o.column)
    if (q === '') return answer(id, null)
    const w = view.quantities.find((x) => x.key === q)?.ways ?? []
    if (w.length === 0) return answer(id, q)
    const sure = w.length === 1 || q === 'seed_count' || w[0]!.key === '' ? undefined : w.find((x) => o.units.includes(x.key))
    const only = w.length === 1 ? w[0] : sure
    if (only) return say(q, many ? 'row {n}' : '', only.key)
    setPending({ ...pending, [o.column]: { quantity: q, part: many ? 'row {n}' : '' } })
  }
  const roles = view.quantities.filter((q) => q.ways.length === 0), measures = view.quantities.filter((q) => q.ways.length > 0)
  const parts = [...(o.by_row ? [{ key: 'row {n}', text: 'each row' }] : []), ...view.parts]
  if (part && !parts.some((x) => x.key === part)) parts.push({ key: part, text: part })
  return <div class="head-of">
    <select aria-label={`What ${o.column} is`} value={quantity} onChange={(e) => choose(e.currentTarget.value)}>
      {(asked || !quantity) && <option value="">{asked ? 'open: answer below' : 'not known yet'}</option>}
      {o.state === 'said' && <option value="">as it was guessed</option>}
      <option value="none">leave it out</option>
      <optgroup label="Measured">{measures.map((q) => <option key={q.key} value={q.key}>{q.text}</option>)}</optgroup>
      {!many && <optgroup label="Time, place, order">{roles.map((q) => <option key={q.key} value={q.key}>{q.text}</option>)}</optgroup>}
    </select>
    {measured && !many && !waits && <select aria-label={`Of what part ${o.column} speaks`} value={part} onChange={(e) => say(quantity, e.currentTarget.value, o.way)}>
      {!part && <option value="">of what part</option>}
      {parts.map((x) => <option key={x.key} value={x.key}>{x.text}</option>)}
    </select>}
    {measured && many && <span class="small">of each row, {o.count} columns</span>}
    {measured && ways.length === 1 && ways[0]!.text && <span class="small">in {ways[0]!.text}</span>}
    {measured && ways.length > 1 && <select aria-label={`In which unit ${o.column} is`} class={waits ? 'open' : ''} value={waits ? '?' : o.way} onChange={(e) => say(quantity, part, e.currentTarget.value)}>
      {waits && <option value="?">choose this too</option>}
      {ways.map((w) => <option key={w.key} value={w.key}>{w.text}</option>)}
    </select>}
    <span class="small soft">{waits ? 'open' : o.sure}{o.values.length > 0 && <>; read as {o.values.join(', ')}</>}</span>
  </div>
}
