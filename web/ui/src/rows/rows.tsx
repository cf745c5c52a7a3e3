import type * as api from '../api'
import { query } from '../api'
import { Dots } from '../draw/dots'
import { ends, label } from '../draw/scale'
import { Choice, fieldName, Title, Wait, Wide } from '../parts'
import { stay, usePlace } from '../route'
import { useData, useStore } from '../state'

const keys = ['measure', 'planter', 'field', 'from', 'to', 'rows', 'side', 'section', 'part'] as const

export function Rows() {
  const { q } = usePlace()
  const days = useStore().book?.days
  if (!days) return <Title page="Rows">Rows</Title>
  return <Asked key={days.length} q={q} last={days.at(-1)} />
}

// Asked compares the rows of what was asked for; without a word of it the field
// and the day that were planted last, for what is over elsewhere would hide what
// is wrong there.
function Asked({ q, last }: { q: URLSearchParams, last: api.Book['days'][number] | undefined }) {
  const given = ['field', 'from', 'to', 'planter', 'rows', 'side', 'section', 'part'].some((k) => q.has(k))
  const start: Record<string, string | undefined> = given || !last ? {} : { planter: last.planter, field: last.fields.at(-1), from: last.day, to: last.day }
  const asked = Object.fromEntries(keys.map((k) => [k, (q.get(k) ?? start[k])?.replace(/^\*$/, '') || undefined]))
  const path = '/rows' + query(asked)
  const d = useData<api.Rows>(path)
  return <Wait of={d}>{(v) => <View v={v} q={q} path={path} asked={asked} />}</Wait>
}

function View({ v, q, path, asked }: { v: api.Rows, q: URLSearchParams, path: string, asked: Record<string, string | undefined> }) {
  const store = useStore()
  const worst = q.get('order') === 'worst'
  const table = q.has('table')
  const bad = (r: api.RowFigure) => r.no_seed ? Infinity : r.value === null ? -Infinity : v.measure.worse < 0 ? -r.value : r.value
  const rows = worst ? [...v.rows].sort((a, b) => bad(a) === bad(b) ? 0 : bad(b) - bad(a)) : v.rows
  const set = (k: string) => (x: string) => stay({ ...Object.fromEntries(keys.slice(1).map((o) => [o, asked[o] ?? (o === 'field' ? '*' : undefined)])), [k]: x })
  const any = (text: string) => ({ value: '*', text })
  const days = store.book?.days ?? []
  const planters = store.book?.planters ?? []
  const dayName = (d: string) => days.find((x) => x.day === d)?.label ?? d
  return <>
    <Title page="Rows">{v.title}</Title>
    <p class="cap">{v.row_1 === 'right' ? 'Right to left' : 'Left to right'} as you look ahead. Line: 90% interval. Grey: what the other rows do.{v.target !== null && ` Thin line: what was asked for, ${label(v.measure.axis, v.target)}.`}{v.measure.limit.says && ` Dashed: your limit, ${v.measure.limit.says}.`}</p>
    <div class="pick gap">
      <Choice label="Measure" value={v.measure.id} set={(x) => stay({ measure: x })} of={(v.measures.some((m) => m.id === v.measure.id) ? v.measures : [v.measure, ...v.measures]).map((m) => ({ value: m.id, text: m.label }))} />
      {planters.length > 1 && <Choice label="Planter" value={asked.planter ?? v.planter} set={set('planter')} of={planters.map((f) => ({ value: f, text: f }))} />}
      {v.fields.length > 1 && <Choice label="Field" value={asked.field ?? '*'} set={set('field')} of={[any('all fields'), ...v.fields.map((f) => ({ value: f, text: fieldName(f) }))]} />}
      {v.days.length > 1 && <Choice label="From" value={asked.from ?? '*'} set={set('from')} of={[any('first day'), ...v.days.map((f) => ({ value: f, text: dayName(f) }))]} />}
      {v.days.length > 1 && <Choice label="To" value={asked.to ?? '*'} set={set('to')} of={[any('last day'), ...v.days.map((f) => ({ value: f, text: dayName(f) }))]} />}
      {v.sides.length > 0 && <Choice label="Side" value={asked.side ?? '*'} set={set('side')} of={[any('both sides'), ...v.sides.map((f) => ({ value: f, text: f }))]} />}
      {v.sections.length > 1 && <Choice label="Section" value={asked.section ?? '*'} set={set('section')} of={[any('all'), ...v.sections.map((f) => ({ value: String(f), text: String(f) }))]} />}
      {v.parts.length > 0 && <Choice label="Parts" value={asked.part ?? '*'} set={set('part')} of={[any('whatever is mounted'), ...v.parts.map((f) => ({ value: f, text: f }))]} />}
      <div class="buttons">
        <button aria-pressed={worst} onClick={() => stay({ order: worst ? '' : 'worst' })}>Worst first</button>
        <button class="still" aria-pressed={table} onClick={() => stay({ table: table ? '' : '1' })}>As a table</button>
        <a class="btn still" href={'/api/v1' + path.replace('/rows', '/rows.csv')} download="rows.csv">CSV</a>
      </div>
    </div>
    <div class="gap" style={{ maxWidth: '860px' }}>
      {table ? <Table v={v} rows={rows} /> : <Dots axis={v.measure.axis} label={v.title} limits={ends(v.measure.limit)} target={v.target}
        band={v.band.low !== null && v.band.high !== null ? [v.band.low, v.band.high] : null}
        dots={rows.map((r) => ({ key: String(r.row), name: 'row ' + r.row, value: r.value, low: r.low, high: r.high, mark: r.apart === 'out', faint: r.few, says: r.says, note: note(r) }))} />}
    </div>
    <p class="cap">{v.origin}</p>
  </>
}

const note = (r: api.RowFigure) => [...r.parts, r.wheel_track && 'wheel track', r.side].filter(Boolean).slice(0, 2).join(', ')

function Table({ v, rows }: { v: api.Rows, rows: api.RowFigure[] }) {
  const a = v.measure.axis
  const cell = (x: number | null) => x === null ? '' : label(a, x)
  return <Wide label="Rows"><table>
    <thead><tr><th>Row</th><th class="n">{v.measure.label}</th><th class="n">low</th><th class="n">high</th><th>beside the others</th><th>side</th><th>parts</th></tr></thead>
    <tbody>{rows.map((r) => <tr key={r.row}>
      <td>{r.row}</td><td class="n">{cell(r.value) || r.says}</td><td class="n">{cell(r.low)}</td><td class="n">{cell(r.high)}</td>
      <td>{r.few ? 'too little to say' : { with: 'with them', perhaps: 'perhaps apart', out: 'apart' }[r.apart]}</td>
      <td>{[r.side, r.wheel_track && 'wheel track'].filter(Boolean).join(', ')}</td><td>{r.parts.join(', ')}</td>
    </tr>)}</tbody>
  </table></Wide>
}
