// The planner: which rows, when to swap, and what it will see.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { digits } from '../draw/scale'
import { AsTable, Pick, Text, Wait } from '../parts'
import { useData } from '../state'

export function Planner({ parts, part, measure }: { parts: string[], part?: string, measure?: string }) {
  const [name, setName] = useState(part ?? '')
  const [rows, setRows] = useState('2')
  const [m, setM] = useState(measure ?? '')
  const [start, setStart] = useState('')
  const [seed, setSeed] = useState(1)
  const asked = Math.round(Number(rows))
  const wrong = !(asked >= 1 && asked <= 64)
  const n = wrong ? 2 : asked
  const day = /^\d{4}-\d\d-\d\d$/.test(start) ? start : undefined
  const d = useData<api.TrialPlan>('/trials/plan' + api.query({ part: name.trim() || undefined, at_hand: String(n), measure: m || undefined, start: day, seed: String(seed) }))
  return <section class="gap" aria-label="Plan a trial">
    <h2>Plan the next one</h2>
    <div class="form near">
      <Text label="Part" value={name} set={setName} placeholder="such as spoked pair" list="trial-parts" />
      <Text label="Rows of it at hand" value={rows} set={setRows} mode="numeric" />
      <Pick label="To see a difference of" value={m} set={setM} of={[{ value: '', text: 'what the part is for' }, ...(d.data?.measures ?? []).map((x) => ({ value: x.id, text: x.label }))]} />
      <label class="field"><span>First day</span><input type="date" value={start} onInput={(e) => setStart(e.currentTarget.value)} /></label>
    </div>
    <datalist id="trial-parts">{parts.map((p) => <option key={p} value={p} />)}</datalist>
    {wrong && <p class="near" role="alert">Rows of it at hand: write a number from 1 to 64.</p>}
    {!wrong && <Wait of={d}>{(d) => d.plans.length === 0 ? <p class="near">{d.says}</p> : <>
      <ol class="plans near">{d.plans.map((p, i) => <li key={p.name}>
        <p class={i === 0 ? 'do-it' : undefined}>{p.says}</p>
      </li>)}</ol>
      {d.out.length > 0 && <p class="cap">No part for row{d.out.length > 1 ? 's' : ''} {d.out.join(', ')}: rows in wheel tracks and at the ends of the bar run differently from the rest. Which rows get it is drawn at random (draw {d.seed}).</p>}
      {d.assumed && <p class="cap">{d.assumed}</p>}
      <div class="buttons near"><button onClick={() => setSeed(seed + 1)}>Draw the rows again</button></div>
      <AsTable label="Plans" name="plans">
        <thead><tr><th>plan</th><th>first</th><th>then</th><th class="n">passes of each time</th><th class="n">smallest difference, % of now</th></tr></thead>
        <tbody>{d.plans.map((p) => <tr key={p.name}><td>{p.name}</td><td>{p.first.join(', ') || 'none'}</td><td>{p.then.join(', ') || 'the same'}</td><td class="n">{p.passes}</td><td class="n">{p.relative === null ? '' : digits(100 * p.relative)}</td></tr>)}</tbody>
      </AsTable>
    </>}</Wait>}
  </section>
}

