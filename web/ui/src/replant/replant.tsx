// Keep a thin stand, fill it in, or start over.
import { useEffect, useState } from 'preact/hooks'
import * as api from '../api'
import { query } from '../api'
import { Cautions, Choice, fieldName, Pick, Sheet, Text, Title, Wide } from '../parts'
import { usePlace } from '../route'
import { looking, useData, useStore } from '../state'

interface Zone { name: string, area: string, stand: string, low: string, high: string, gaps: string }
interface Cost { what: string, sum: string }

const empty: Zone = { name: '', area: '', stand: '', low: '', high: '', gaps: '' }
const usual: Cost[] = ['seed', 'planting', 'killing what stands', 'tillage', 'spraying', 'drying'].map((what) => ({ what, sum: '' }))

// number reads what a person types: 18,000 as well as 18000; NaN where it is none.
export const number = (s: string): number => s.trim() === '' ? 0 : Number(s.replaceAll(',', '').replace(/^[$€£]/, ''))

export function Replant() {
  const store = useStore()
  const metric = store.book?.units === 'metric'
  const area = metric ? 'ha' : 'ac'
  const fields = [...new Set(store.book?.days.flatMap((d) => d.fields) ?? [])].sort()
  const { q } = usePlace()
  const [field, setField] = useState(q.get('field') ?? '')
  const [planted, setPlanted] = useState('')
  const [again, setAgain] = useState('')
  const [stand, setStand] = useState(metric ? '74000' : '30000')
  const [season, setSeason] = useState('full')
  const [zones, setZones] = useState<Zone[]>([empty])
  const [costs, setCosts] = useState<Cost[]>(usual)
  const [pays, setPays] = useState('')
  const [late, setLate] = useState('')
  const [days, setDays] = useState('')
  const [sheet, setSheet] = useState<api.ReplantSheet | null>(null)
  const [error, setError] = useState('')
  const counted = useData<api.ZonesCounted>('/counts/zones' + query({ field }))
  const text = (x: number | undefined): string => x ? String(x) : ''
  const take = () => {
    const of = counted.data?.zones ?? []
    setZones(of.map((z) => ({ ...empty, name: of.length > 1 ? z.name ?? '' : '', area: text(z.area), stand: text(z.stand), low: text(z.low), high: text(z.high) })))
    const worst = of.find((z) => z.late)
    if (worst) { setLate(String(Math.round(100 * worst.late!))); setDays(text(worst.late_days)) }
  }
  useEffect(() => { if (counted.data && zones.length === 1 && zones[0] === empty && q.get('field') === field) take() }, [counted.data])
  const zone = (i: number, change: Partial<Zone>) => setZones(zones.map((z, k) => k === i ? { ...z, ...change } : z))
  const bad = [stand, pays, late, days, ...zones.flatMap((z) => [z.area, z.stand, z.low, z.high]), ...costs.map((c) => c.sum)].find((s) => !(number(s) >= 0))
  const ready = bad === undefined && again !== '' && number(stand) > 0 && zones.every((z) => z.stand.trim() !== '')
  const weigh = async () => {
    try {
      setError('')
      setSheet(await api.send<api.ReplantSheet>('POST', '/replant', {
        ...(field && { field }), ...(planted && { planted }), again, new_stand: number(stand), season,
        zones: zones.map((z) => ({
          stand: number(z.stand), ...(z.name.trim() && { name: z.name.trim() }), ...(number(z.area) > 0 && { area: number(z.area) }), ...(number(z.low) > 0 && { low: number(z.low) }), ...(number(z.high) > 0 && { high: number(z.high) }),
          ...(z.gaps && { gaps: z.gaps }), ...(number(late) > 0 && { late: number(late) / 100, late_days: number(days) }),
        })),
        costs: costs.filter((c) => number(c.sum) > 0).map((c) => ({ what: c.what, sum: number(c.sum) })),
        ...(number(pays) > 0 && { insurance: number(pays) }),
      }))
    } catch (e) { setSheet(null); setError((e as Error).message) }
  }
  return <>
    <Title page="Replant">Keep it, fill it in, or start over?</Title>
    <p class="near soft">Count first, in the thin ground and in the good. Then say here what stands, and what starting over would cost. Every published table that has something of it is asked; they do not agree.</p>
    {looking() && <p class="notice gap">This screen may only look. A stand is weighed where the logbook is open.</p>}
    {!looking() && <form onSubmit={(e) => { e.preventDefault(); void weigh() }}>
      <div class="form gap">
        {fields.length > 0 && <Pick label="Field" value={field} of={[{ value: '', text: 'not said' }, ...fields.map((f) => ({ value: f, text: fieldName(f) }))]} set={setField} />}
        <label class="field"><span>Planted</span><input type="date" value={planted} onInput={(e) => setPlanted(e.currentTarget.value)} /><small>empty: as the logs say</small></label>
        <label class="field"><span>Would be planted again</span><input type="date" value={again} onInput={(e) => setAgain(e.currentTarget.value)} /></label>
        <Text label="Stand it would then have" beside={`plants/${area}`} value={stand} set={setStand} mode="numeric" />
        <Pick label="Season of the new hybrid" value={season} of={[{ value: 'full', text: 'full' }, { value: 'short', text: 'shorter' }]} set={setSeason} />
      </div>
      <section class="gap" aria-label="What stands">
        <h2>What stands</h2>
        {zones.map((z, i) => <div class="form near zone" key={i}>
          <Text label={zones.length > 1 ? `Zone ${i + 1}` : 'Which ground'} placeholder="such as low corner" value={z.name} set={(name) => zone(i, { name })} />
          <Text label="Area" beside={area} value={z.area} set={(x) => zone(i, { area: x })} mode="decimal" />
          <Text label="Plants counted" beside={`/${area}`} value={z.stand} set={(x) => zone(i, { stand: x })} mode="numeric" />
          <Text label="At least" beside={`/${area}`} value={z.low} set={(low) => zone(i, { low })} mode="numeric" />
          <Text label="At most" beside={`/${area}`} value={z.high} set={(high) => zone(i, { high })} mode="numeric" />
          <Pick label="Gaps" value={z.gaps} of={[{ value: '', text: 'single places' }, { value: 'short', text: metric ? 'several of half a metre to a metre' : 'several of 1.5 to 3 ft' }, { value: 'long', text: metric ? 'many over a metre' : 'many of 4 to 6 ft' }]} set={(gaps) => zone(i, { gaps })} />
        </div>)}
        {counted.data && <div class="buttons near"><button type="button" onClick={take}>Take them from the counts</button><a class="btn" href={'/counts' + query({ field })}>What was counted</a></div>}
        <div class="form near">
          <Text label="Plants that came up late" beside="in 100" value={late} set={setLate} mode="numeric" />
          {number(late) > 0 && <Text label="Late by" beside="days" value={days} set={setDays} mode="numeric" />}
        </div>
        <div class="buttons near"><button type="button" onClick={() => setZones([...zones, empty])}>Another zone</button>
          {zones.length > 1 && <button type="button" onClick={() => setZones(zones.slice(0, -1))}>One fewer</button>}</div>
      </section>
      <section class="gap" aria-label="What starting over costs">
        <h2>What starting over costs, {metric ? 'a hectare' : 'an acre'}</h2>
        <div class="form near">
          {costs.map((c, i) => <Text key={c.what} label={c.what.charAt(0).toUpperCase() + c.what.slice(1)} value={c.sum} set={(sum) => setCosts(costs.map((x, k) => k === i ? { ...x, sum } : x))} mode="decimal" />)}
          <Text label="Insurance pays" value={pays} set={setPays} mode="decimal" hint="as your policy says" />
        </div>
      </section>
      {bad !== undefined && <p class="near" role="alert">“{bad}” is no number of 0 or more.</p>}
      <div class="buttons gap"><button class="first" type="submit" disabled={!ready}>Weigh it</button></div>
    </form>}
    {error && <div class="notice bad gap" role="alert"><p>{error}</p></div>}
    <div aria-live="polite">{sheet && <Result s={sheet} />}</div>
  </>
}

function Result({ s }: { s: api.ReplantSheet }) {
  const [open, setOpen] = useState(s.zones[0]?.name ?? '')
  const z = s.zones.find((x) => x.name === open) ?? s.zones[0]
  if (!z) return null
  return <section class="gap" aria-label="What comes of it">
    <h2>What comes of it</h2>
    {s.says.map((t) => <p key={t} class="near">{t}</p>)}
    {s.zones.map((x) => <p key={x.name} class="near do-it">{x.says}</p>)}
    {s.zones.length > 1 && <div class="pick gap"><Choice label="Zone" value={z.name} set={setOpen} of={s.zones.map((x) => ({ value: x.name, text: x.name }))} /></div>}
    <Wide label="By table" near><table>
      <thead><tr><th>table</th>{z.choices.map((c) => <th key={c.choice} class="n">{c.choice}</th>)}</tr></thead>
      <tbody>{s.tables.map((t) => <tr key={t.what}><td>{t.what}</td>{z.choices.map((c) => {
        const r = c.readings.find((x) => x.table === t.what)
        return <td key={c.choice} class="n">{r ? <>{r.percent}{r.gain && <><br /><b>{r.gain}</b></>}</> : <span class="soft">nothing</span>}</td>
      })}</tr>)}
        <tr><td>all</td>{z.choices.map((c) => <td key={c.choice} class="n">{c.gain && <b>{c.gain}</b>}</td>)}</tr></tbody>
    </table></Wide>
    <p class="cap">Percent of the best yield; below it what it gains over keeping, {s.per}, its cost taken off.</p>
    {z.steps.length > 0 && <><h3 class="gap">The arithmetic of starting over</h3><ol class="near">{z.steps.map((t) => <li key={t}>{t}</li>)}</ol></>}
    {z.missing.length > 0 && <p class="near soft">{z.missing.join(' ')}</p>}
    <Cautions list={s.cautions} />
    <details class="gap still"><summary>Tables and relations</summary><Sheet label="Tables" name="stand-and-date-tables"><thead><tr><th>table</th><th>published</th></tr></thead><tbody>{s.tables.map((t) => <tr key={t.what}><td>{t.what}</td><td>{t.says}</td></tr>)}</tbody></Sheet>
      <p class="near small">{s.cites.map((c, i) => <>{i > 0 && ', '}<a href={'/logbook/relations#' + c.id}>{c.title}</a></>)}</p></details>
    <div class="small soft gap">{s.notes.map((n) => <p key={n} class="near">{n}</p>)}</div>
    <div class="buttons gap"><button onClick={() => print()}>Print</button></div>
  </section>
}
