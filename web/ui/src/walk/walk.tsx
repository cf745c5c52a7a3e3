// Where to count plants, in the order of walking.
import { useState } from 'preact/hooks'
import type * as api from '../api'
import { query } from '../api'
import { Choice, Sheet, Title, Wait } from '../parts'
import { stay, usePlace } from '../route'
import { useData } from '../state'

export function Walk() {
  const { q } = usePlace()
  const [at, setAt] = useState<{ lat: number, lon: number } | null>(null)
  const d = useData<api.WalkList>('/walk' + query({ field: q.get('field') || undefined, places: q.get('places') || undefined, draw: q.get('draw') || undefined, lat: at ? String(at.lat) : undefined, lon: at ? String(at.lon) : undefined }))
  return <Wait of={d}>{(l) => l.field === '' ? <><Title page="Walk list">Nowhere to count yet.</Title><p class="near soft">Where to count is chosen by what was planted. <a href="/bring">Bring logs</a></p></> : <List l={l} q={q} setAt={setAt} />}</Wait>
}

function List({ l, q, setAt }: { l: api.WalkList, q: URLSearchParams, setAt: (at: { lat: number, lon: number }) => void }) {
  const [trouble, setTrouble] = useState('')
  const here = () => navigator.geolocation.getCurrentPosition((p) => { setTrouble(''); setAt({ lat: p.coords.latitude, lon: p.coords.longitude }) }, (e) => setTrouble('This device does not say where it is: ' + e.message + '.'), { enableHighAccuracy: true, timeout: 15_000 })
  return <>
    <Title page="Walk list">{l.title}</Title>
    <p class="near do-it">{l.how}</p>
    <p class="near">{l.when}</p>
    <p class="near soft">{l.way} {l.tells}</p>
    <div class="pick gap">
      {l.fields.length > 1 && <Choice label="Field" value={l.field} set={(x) => stay({ field: x })} of={l.fields.map((f) => ({ value: f, text: f }))} />}
      <Choice label="Places" value={q.get('places') || '10'} set={(x) => stay({ places: x })} of={['6', '10', '15', '20', '30'].map((n) => ({ value: n, text: n }))} />
      {'geolocation' in navigator && <button onClick={here}>Begin where I stand</button>}
      <button onClick={() => stay({ draw: Number(q.get('draw') ?? 0) + 1 })}>Draw others</button>
    </div>
    {trouble && <p class="near" role="alert">{trouble}</p>}
    <Map l={l} />
    <ol class="walk near">{l.places.map((p) => <li key={p.pass_key + p.along_m}>
      <div class="s">{p.where}.</div>
      <div class="soft">{p.why}. {p.lat.toFixed(6)}, {p.lon.toFixed(6)}</div>
    </li>)}</ol>
    {l.notes.map((n) => <p key={n} class="near small soft">{n}</p>)}
    <div class="buttons gap"><a class="btn" href="/journal">Write down a count</a><a class="btn" download="places.geojson" href={'data:application/geo+json,' + encodeURIComponent(JSON.stringify(geo(l)))}>GeoJSON</a><button onClick={() => print()}>Print</button></div>
    <details class="gap still"><summary>As a table</summary><Sheet label="Places" name="walk-list"><thead><tr><th class="n">no.</th><th>where</th><th>why</th><th class="n">latitude</th><th class="n">longitude</th></tr></thead>
      <tbody>{l.places.map((p) => <tr key={p.number}><td class="n">{p.number}</td><td>{p.where}</td><td>{p.why}</td><td class="n">{p.lat.toFixed(7)}</td><td class="n">{p.lon.toFixed(7)}</td></tr>)}</tbody></Sheet></details>
  </>
}

// geo gives the places for a map on the phone (RFC 7946).
const geo = (l: api.WalkList) => ({ type: 'FeatureCollection', features: l.places.map((p) => ({ type: 'Feature', geometry: { type: 'Point', coordinates: [p.lon, p.lat] }, properties: { number: p.number, where: p.where, why: p.why } })) })

// Map draws the walk: numbers where to count, the worst ground filled.
function Map({ l }: { l: api.WalkList }) {
  const cos = Math.cos(((l.places[0]?.lat ?? 0) * Math.PI) / 180)
  const xs = l.places.map((p) => p.lon * cos), ys = l.places.map((p) => -p.lat)
  const x0 = Math.min(...xs), y0 = Math.min(...ys)
  const span = Math.max(Math.max(...xs) - x0, Math.max(...ys) - y0) || 1
  const at = (i: number): [number, number] => [24 + (352 * ((xs[i] ?? 0) - x0)) / span, 24 + (352 * ((ys[i] ?? 0) - y0)) / span]
  const high = 48 + (352 * (Math.max(...ys) - y0)) / span, wide = 48 + (352 * (Math.max(...xs) - x0)) / span
  return <svg class="walkmap near" viewBox={`0 0 ${wide} ${high}`} role="img" aria-label={`${l.places.length} places in the order of walking, north up`}>
    <polyline points={l.places.map((_, i) => at(i).join(',')).join(' ')} fill="none" stroke="var(--edge)" stroke-width="1.5" stroke-dasharray="5 4" />
    {l.places.map((p, i) => <g key={p.number}>
      <circle cx={at(i)[0]} cy={at(i)[1]} r="12" fill={p.stratum === 0 ? 'var(--accent)' : 'var(--paper)'} stroke={p.stratum === 0 ? 'var(--accent)' : 'var(--ink)'} stroke-width="1.5" />
      <text x={at(i)[0]} y={at(i)[1] + 4.5} text-anchor="middle" style={p.stratum === 0 ? 'fill:var(--on-accent)' : 'fill:var(--ink)'}>{p.number}</text>
    </g>)}
  </svg>
}
