import { useState } from 'preact/hooks'
import * as api from '../api'
import { Box } from '../bring/bring'
import { Text, Title, Wait, Wide } from '../parts'
import { looking, store, useData, useStore } from '../state'
import { digits } from '../draw/scale'
import { Planter } from './planter'
import { Recipes } from './recipes'

const tabs = [['', 'Boxes'], ['planter', 'Planter'], ['prices', 'Prices and units'], ['recipes', 'Recipes'], ['relations', 'Relations']] as const

export function Logbook({ tab }: { tab: string }) {
  const s = useStore()
  return <>
    <Title page="Logbook">{s.book ? 'Logbook: ' + s.book.name : 'Logbook'}</Title>
    {s.book?.stale && <div class="notice near"><p>Something was changed since the last reading.</p>
      <div class="buttons near"><button class="first" onClick={() => void api.send('POST', '/settle')}>Take it up now</button></div></div>}
    <nav class="tabs" aria-label="Parts of the logbook">{tabs.map(([id, name]) => <a key={id} href={'/logbook' + (id && '/' + id)} aria-current={tab === id ? 'page' : undefined}>{name}</a>)}</nav>
    {tab === '' && <Boxes />}
    {tab === 'planter' && <Planters />}
    {tab === 'prices' && <Prices />}
    {tab === 'recipes' && <Recipes />}
    {tab === 'relations' && <RelationsView />}
  </>
}

function Boxes() {
  const d = useData<api.Sources>('/sources')
  return <Wait of={d}>{(d) => d.sources.length === 0
    ? <p>No logs have been read yet. <a href="/bring">Bring some</a>.</p>
    : <><p class="soft">Every box whose log was read, with its own clock. Grade A is seed times, B a row a second, C section or machine, D position and notes.</p>
      {d.sources.map((s) => <Box key={s.format + s.name} s={s} more />)}
      <Imports /></>}</Wait>
}

// Imports lists what was brought in.
function Imports() {
  const d = useData<{ imports: { id: number, when: string, name: string, kind: string, files: number, bytes: number, replaced: boolean }[] }>('/imports')
  const size = (n: number) => n < 1e6 ? `${Math.max(1, Math.round(n / 1e3))} kB` : `${(n / 1e6).toFixed(n < 1e7 ? 1 : 0)} MB`
  return <section class="gap"><h2>What was brought</h2>
    <p class="soft">Every file is kept as it came.</p>
    <Wait of={d}>{(d) => <Wide label="What was brought" near><table><thead><tr><th>when</th><th>what</th><th class="n">files</th><th class="n">size</th></tr></thead>
      <tbody>{d.imports.map((x) => <tr key={x.id}><td class="nowrap">{x.when}</td><td>{x.name}{x.replaced && <span class="soft"> (a later one holds all of it)</span>}</td><td class="n">{x.files}</td><td class="n">{size(x.bytes)}</td></tr>)}</tbody></table></Wide>}</Wait>
  </section>
}

function Planters() {
  const d = useData<{ cards: api.Card[] }>('/cards')
  return <Wait of={d}>{(d) => d.cards.length === 0 ? <p>No planter is known yet. It is learnt from the first log.</p> : <>{d.cards.map((c) => <Planter key={c.planter} c={c} />)}</>}</Wait>
}

function Prices() {
  const d = useData<api.Settings>('/settings')
  return <Wait of={d}>{(d) => <Form key={JSON.stringify(d)} d={d} />}</Wait>
}

function Form({ d }: { d: api.Settings }) {
  const [s, set] = useState(d)
  const [error, setError] = useState('')
  const put = (k: keyof api.SettingsChange) => (v: string) => set({ ...s, [k]: v })
  const metric = s.units === 'metric'
  const pick = (x: api.Settings): api.SettingsChange => ({ name: x.name, zone: x.zone, units: x.units as 'us' | 'metric', currency: x.currency, crop: x.crop, grain: x.grain, yield_goal: x.yield_goal, seed: x.seed, labour_per_hour: x.labour_per_hour, machine_per_hour: x.machine_per_hour, left_to_plant: x.left_to_plant })
  const save = async (e: Event) => {
    e.preventDefault()
    try {
      await api.send('PATCH', '/settings', pick(s))
      setError('')
      store.say('Kept; everything is priced anew.', async () => { await api.send('PATCH', '/settings', pick(d)) })
    } catch (e) { setError((e as Error).message) }
  }
  return <form onSubmit={(e) => void save(e)}>
    <h2>Prices</h2>
    <p class="soft">Assumed: you set them. Without a price losses are in bushels, without a yield goal they cannot be said.</p>
    <div class="form near">
      <Text label="What grain brings" value={s.grain} set={put('grain')} placeholder={metric ? '180/t' : '4.50/bu'} hint="money over bu, t, kg, lb or cwt" />
      <Text label="Yield goal" value={s.yield_goal} set={put('yield_goal')} placeholder={metric ? '11t/ha' : '190bu/ac'} />
      <Text label="What seed costs" value={s.seed} set={put('seed')} placeholder="300/80000" hint="money over seeds" />
      <Text label="An hour of the operator" value={s.labour_per_hour} set={put('labour_per_hour')} mode="decimal" />
      <Text label="An hour of tractor and planter standing" value={s.machine_per_hour} set={put('machine_per_hour')} mode="decimal" />
      <Text label="Still to plant beyond the present field" value={s.left_to_plant} set={put('left_to_plant')} placeholder={metric ? '100ha' : '250ac'} />
      <Text label="Crop" value={s.crop} set={put('crop')} hint="a bushel is of this crop" />
      <Text label="Currency" value={s.currency} set={put('currency')} />
    </div>
    <h2 class="gap">Units, zone, name</h2>
    <div class="form near">
      <label class="field"><span>Units</span><select value={s.units} onChange={(e) => put('units')(e.currentTarget.value)}><option value="us">US customary, 12 h clock</option><option value="metric">metric, 24 h clock</option></select></label>
      <Text label="Time zone" value={s.zone} set={put('zone')} list="zones" hint="its days are those of the logbook" />
      <Text label="Name of the logbook" value={s.name} set={put('name')} />
      <datalist id="zones">{s.zones.map((z) => <option key={z} value={z} />)}</datalist>
    </div>
    {error && <p class="gap" role="alert">{error}</p>}
    {!looking() && <div class="buttons gap"><button class="first" type="submit">Keep</button><button type="button" onClick={() => set(d)}>As it was</button></div>}
  </form>
}

function RelationsView() {
  const d = useData<api.Relations>('/relations')
  const [find, setFind] = useState('')
  return <Wait of={d}>{(d) => {
    const f = find.toLowerCase()
    const shown = d.relations.map((r) => ({ ...r, lines: r.lines.filter((l) => !f || (r.id + l.name + l.source + l.form).toLowerCase().includes(f)) })).filter((r) => r.lines.length)
    return <>
      <p class="soft">What links what went wrong to yield, with the publication of each figure.</p>
      <div class="near"><Text label="Look for" value={find} set={setFind} /></div>
      {shown.map((r) => <section class="gap" key={r.id} id={r.id}><h2>{r.id}</h2>
        <Wide label={r.id}><table class="small">
          <thead><tr><th>figure</th><th class="n">low</th><th class="n">likely</th><th class="n">high</th><th>unit</th><th>holds for</th><th>source</th></tr></thead>
          <tbody>{r.lines.map((l, i) => <tr key={i}>
            <td>{l.name}</td>{[l.low, l.likely, l.high].map((x, k) => <td class="n" key={k}>{x === null ? '' : digits(x)}</td>)}<td>{l.unit}</td><td>{l.domain}</td><td>{l.source}<br /><span class="soft">{l.status}</span></td>
          </tr>)}</tbody>
        </table></Wide></section>)}
      {shown.length === 0 && <p class="gap">Nothing fits.</p>}
    </>
  }}</Wait>
}
