// What was planted: each field once, twice and not at all, and its acres by day
// and lot.
import type * as api from '../api'
import { query } from '../api'
import { Wide } from '../parts'
import { useStore } from '../state'

const applied: Record<string, string> = { seed: 'seed', liquid: 'liquid', granular: 'dry product' }

export function Planted({ p, asked }: { p: api.FieldsPlanted, asked: Record<string, string | undefined> }) {
  const metric = useStore().book?.units === 'metric'
  if (p.fields.length === 0) return null
  const several = new Set(p.fields.flatMap((f) => f.acres.map((a) => a.planter))).size > 1
  const lines = p.fields.flatMap((f) => f.acres.map((a, i) => ({ f, a, first: i === 0 })))
  const narrow = p.fields.map((f) => f.sees).sort((a, b) => (b.value ?? 0) - (a.value ?? 0))[0]!
  const doubt = p.fields.filter((f) => f.doubt).map((f) => f.field)
  return <section class="gap planted" aria-label="What was planted">
    <h2>What was planted</h2>
    <Wide label="Planted, left and twice by field" near><table>
      <caption class="hush">Planted, left and twice by field</caption>
      <thead><tr><th>Field</th><th class="n">planted</th><th class="n">not planted</th><th class="n">planted twice</th></tr></thead>
      <tbody>
        {p.fields.map((f) => <Sums key={f.field} name={f.field} s={f} />)}
        {p.all && <Sums name="all" s={p.all} strong />}
      </tbody>
    </table></Wide>
    <p class="cap">These are whole areas: pieces narrower than {narrow.says}, and the last {metric ? 'metre' : 'yard'} along a boundary, are not drawn and not listed as pieces.{p.part && ' These are of all days and planters; the acres below are of those chosen.'}
      {doubt.length > 0 && ` Two ways of measuring do not agree about ${doubt.join(' and ')}: take its figures with care.`}</p>
    <Wide label="Acres by day and lot" near><table>
      <caption class="hush">{p.lots ? 'By field, day and lot' : 'By field and day'}</caption>
      <thead><tr><th>Field</th><th>day</th><th>what</th>{p.lots && <th>lot</th>}{several && <th>planter</th>}<th class="n">planted</th></tr></thead>
      <tbody>{lines.map(({ f, a, first }) => <tr key={[f.field, a.planter, a.day, a.applied, a.lot].join('|')}>
        <td>{first ? f.field : <span class="hush">{f.field}</span>}</td><td>{a.label}</td><td>{applied[a.applied] ?? a.applied}</td>{p.lots && <td>{a.lot || 'not said'}</td>}{several && <td>{a.planter}</td>}<td class="n"><span class="nowrap">{a.area.says}</span>{a.again.says && <small class="give">{a.again.says} of it planted before</small>}</td>
      </tr>)}</tbody>
    </table></Wide>
    {!p.lots && <p class="cap">A lot that is written into the journal (“lot A123 rows 1-6”) parts the acres by lot.</p>}
    <div class="buttons near"><a class="btn" href={'/api/v1/ground/fields.csv' + query(asked)} download="planted.csv" aria-label="What was planted, CSV">CSV</a></div>
  </section>
}

function Sums({ name, s, strong }: { name: string, s: Pick<api.FieldPlanted, 'planted' | 'of' | 'left' | 'twice'>, strong?: boolean }) {
  return <tr><td>{strong ? <b>{name}</b> : name}</td><td class="n"><span class="nowrap">{s.planted.says}</span>{s.of.says ? <> <span class="nowrap">of {s.of.says}</span></> : <small class="give">no boundary</small>}</td><Doubtful a={s.left} /><Doubtful a={s.twice} /></tr>
}

const Doubtful = ({ a }: { a: api.Amount }) => <td class="n"><span class="nowrap">{a.says || 'not known'}</span>{a.give && <small class="give">{a.give}</small>}</td>
