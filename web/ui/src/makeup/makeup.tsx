// What the next machine puts on where a product was missed, short or doubled.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { query } from '../api'
import { bar } from '../ground/colour'
import { Cautions, fieldName, Pick, Sheet, Text, Title, Wrong } from '../parts'
import { stay, usePlace } from '../route'
import { useData, useStore } from '../state'
import { number } from '../replant/replant'

const keys = ['field', 'content', 'name', 'dry', 'holds', 'planned', 'least', 'most', 'price', 'rows', 'spacing', 'parts', 'shut'] as const
type Key = typeof keys[number]

export function MakeUp() {
  const { q } = usePlace()
  const { book } = useStore()
  const metric = book?.units === 'metric'
  const fields = [...new Set(book?.days.flatMap((d) => d.fields) ?? [])].filter((f) => f !== '').sort()
  const [form, setForm] = useState<Record<Key, string>>(() => Object.fromEntries(keys.map((k) => [k, q.get(k) ?? (k === 'rows' ? '12' : '')])) as Record<Key, string>)
  const set = (k: Key) => (v: string) => setForm({ ...form, [k]: v })
  const field = form.field || fields[0] || ''
  const dry = form.dry === 'true'
  const rate = dry ? (metric ? 'kg/ha' : 'lb/ac') : (metric ? 'L/ha' : 'gal/ac')
  const each = (d: boolean) => d ? (metric ? 'kg/kg' : 'lb/lb') : (metric ? 'kg/L' : 'lb/gal')
  const bad = (['content', 'holds', 'planned', 'least', 'most', 'price', 'rows', 'spacing', 'parts'] as Key[]).find((k) => !(number(form[k]) >= 0))
  const asked = q.get('plan') === '1'
  const of = query({ field, ...Object.fromEntries(keys.filter((k) => k !== 'field' && q.get(k)).map((k) => [k, q.get(k)!.replaceAll(',', '')])) })
  return <>
    <Title page="Make up">Make up what was missed</Title>
    <p class="near soft">Where liquid or granules that went on beside seed were missed, fell short or came twice, and what the next machine can and should put on there.</p>
    <form onSubmit={(e) => { e.preventDefault(); stay({ ...Object.fromEntries(keys.map((k) => [k, form[k] || undefined])), field, plan: '1' }) }}>
      <div class="form gap">
        {fields.length > 0 && <Pick label="Field" value={field} of={fields.map((f) => ({ value: f, text: fieldName(f) }))} set={set('field')} />}
        <Text label="Rows of the next machine" value={form.rows} set={set('rows')} mode="numeric" />
        <Text label="Parts that it sets by themselves" value={form.parts} set={set('parts')} mode="numeric" hint="as many as rows, or sections; empty: all at once" />
        <Pick label="It can shut a part" value={form.shut} of={[{ value: '', text: 'no' }, { value: 'true', text: 'yes' }]} set={set('shut')} />
        <Text label="Distance of its rows" beside={metric ? 'cm' : 'in'} value={form.spacing} set={set('spacing')} mode="decimal" hint="empty: as the planter's" />
        <Text label="Next product" value={form.name} set={set('name')} />
        <Pick label="It is" value={form.dry} of={[{ value: '', text: 'liquid' }, { value: 'true', text: 'dry' }]} set={set('dry')} />
        <Text label="Planned everywhere" beside={rate} value={form.planned} set={set('planned')} mode="decimal" hint="empty: only what is missing" />
        <Text label="Its smallest rate" beside={rate} value={form.least} set={set('least')} mode="decimal" />
        <Text label="Its largest rate" beside={rate} value={form.most} set={set('most')} mode="decimal" />
        <Text label="Nutrient in what went on" beside={each(false)} value={form.content} set={set('content')} mode="decimal" hint="such as 1.14 lb of N a gallon" />
        <Text label="Nutrient in the next product" beside={each(dry)} value={form.holds} set={set('holds')} mode="decimal" hint="both empty: the same product again" />
        <Text label="Price of it" beside={metric ? (dry ? 'a kg' : 'a litre') : (dry ? 'a pound' : 'a gallon')} value={form.price} set={set('price')} mode="decimal" />
      </div>
      {bad && <p class="near" role="alert">“{form[bad]}” is no number of 0 or more.</p>}
      <div class="buttons gap"><button class="first" type="submit" disabled={bad !== undefined || field === ''}>Plan it</button></div>
    </form>
    {asked && q.get('field') && <Result of={of} metric={metric} />}
  </>
}

function Result({ of, metric }: { of: string, metric: boolean }) {
  const d = useData<api.MakeUpSheet>('/makeup' + of)
  if (d.error) return <Wrong text={d.error} again={d.again} />
  const s = d.data
  if (!s) return <p class="soft gap" role="status">One moment…</p>
  const file = (as: string) => '/api/v1/makeup/file' + of + '&as=' + as
  return <section class="gap" aria-label="The plan">
    <h2>{s.title}</h2>
    {s.says.map((t) => <p key={t} class="near do-it">{t}</p>)}
    <Picture s={s} metric={metric} />
    {s.totals.length > 0 && <table class="near"><tbody>{s.totals.map((t) => <tr key={t.what}><td>{t.what}</td><td>{t.says}</td></tr>)}</tbody></table>}
    <Cautions list={s.cautions} />
    {s.zones.length > 0 && <><h3 class="gap">Take it along</h3>
      <div class="buttons near"><a class="btn" download href={file('grid')}>Task data, a rate in every cell</a><a class="btn" download href={file('zones')}>Task data, treatment zones</a>
        <a class="btn" download href={file('geojson')}>GeoJSON</a><a class="btn" download href={file('shapefile')}>Shapefile</a><a class="btn" download href={file('parquet')}>GeoParquet</a><a class="btn" download href={file('csv')}>CSV</a><button onClick={() => print()}>Print</button></div></>}
    {s.strips.length > 0 && <><h3 class="gap">What was off</h3><ul class="near">{s.strips.map((x) => <li key={x.pass_key + x.kind + String(x.rows) + x.from}>{x.says}</li>)}</ul></>}
    {s.zones.length > 0 && <details class="gap still"><summary>Zones as a table</summary><Sheet label="Zones" name="make-up-zones"><thead><tr><th class="n">rate, {s.unit}</th><th class="n">owed, {s.unit}</th><th class="n">m²</th><th>kept from it by</th></tr></thead>
      <tbody>{s.zones.map((z, i) => <tr key={i}><td class="n">{z.rate}</td><td class="n">{z.owed}</td><td class="n">{z.area_m2.toFixed(0)}</td><td>{z.why}</td></tr>)}</tbody></Sheet></details>}
    {s.notes.map((n) => <p key={n} class="near small soft">{n}</p>)}
    <p class="near small">{s.cites.map((c, i) => <>{i > 0 && ', '}<a href={'/logbook/relations#' + c.id}>{c.title}</a></>)}</p>
  </section>
}

const wide = 640, edge = 26, metresOfDegree = 111_200

// Picture draws boundary and zones: filled where more goes on, hatched where less.
function Picture({ s, metric }: { s: api.MakeUpSheet, metric: boolean }) {
  const rings = s.zones.map((z) => z.ring as [number, number][])
  const all = [...rings.flat(), ...s.boundary.flat() as [number, number][]]
  if (all.length === 0) return null
  const cos = Math.cos((all[0]![1] * Math.PI) / 180)
  const xs = all.map(([lon]) => lon * cos), ys = all.map(([, lat]) => -lat)
  const x0 = Math.min(...xs), y0 = Math.min(...ys)
  const span = Math.max(Math.max(...xs) - x0, Math.max(...ys) - y0) || 1e-4
  const scale = (wide - 2 * edge) / span
  const path = (r: [number, number][]) => 'M' + r.map(([lon, lat]) => `${(edge + scale * (lon * cos - x0)).toFixed(1)} ${(edge + scale * (-lat - y0)).toFixed(1)}`).join('L') + 'Z'
  const w = Math.max(260, 2 * edge + scale * (Math.max(...xs) - x0)), h = 2 * edge + scale * (Math.max(...ys) - y0) + 34
  const b = bar(metresOfDegree / scale, 160, metric ? 'metric' : 'us')
  const long = b.metres / metresOfDegree * scale
  return <figure>
    <svg class="makemap near" viewBox={`0 0 ${w.toFixed(1)} ${h.toFixed(1)}`} role="img" aria-label={`${s.zones.length} zones with another rate than planned, north up`}>
      {s.boundary.map((r, i) => <path key={i} class="edge" d={path(r as [number, number][])} />)}
      <path class="more" d={s.zones.map((z, i) => z.rate > s.planned ? path(rings[i]!) : '').join('')} />
      <path class="less" d={s.zones.map((z, i) => z.rate < s.planned ? path(rings[i]!) : '').join('')} />
      <path class="kept" d={s.zones.map((z, i) => z.why && z.rate === s.planned ? path(rings[i]!) : '').join('')} />
      <g class="scale"><path d={`M${edge} ${h - 16}v6h${long.toFixed(1)}v-6`} /><text x={edge + long + 8} y={h - 9}>{b.says}</text></g>
      <g class="north"><path d={`M${(w - edge).toFixed(1)} ${h - 8}v-24m-5 7l5 -8l5 8`} /><text x={w - edge - 12} y={h - 9} text-anchor="end">north</text></g>
    </svg>
    <figcaption class="cap">{s.boundary.length > 0 ? 'Line: the boundary. ' : ''}Filled: more than the planned {s.planned} {s.unit}. Outlined: less. The strips are as wide as they are; narrow ones are drawn a little wider.</figcaption>
  </figure>
}
