// The picture of a walk: the field's boundary, the way, numbers where to count, a
// bar of scale and where north is.
import type * as api from '../api'
import { bar } from '../ground/colour'
import type { Units } from './count'

const wide = 400, edge = 26, metresOfDegree = 111_200 // of latitude, to 1 in 200 anywhere; a picture wants no more

export function Map({ l, units, done }: { l: api.WalkList, units: Units, done: (p: api.WalkList['places'][number]) => boolean }) {
  const cos = Math.cos(((l.places[0]?.lat ?? 0) * Math.PI) / 180)
  const all = [...l.places.map((p): [number, number] => [p.lon, p.lat]), ...l.boundary.flat() as [number, number][]]
  const xs = all.map(([lon]) => lon * cos), ys = all.map(([, lat]) => -lat)
  const x0 = Math.min(...xs), y0 = Math.min(...ys)
  const span = Math.max(Math.max(...xs) - x0, Math.max(...ys) - y0) || 1e-4
  const scale = (wide - 2 * edge) / span
  const at = ([lon, lat]: [number, number]): [number, number] => [edge + scale * (lon * cos - x0), edge + scale * (-lat - y0)]
  const w = Math.max(220, 2 * edge + scale * (Math.max(...xs) - x0)), h = 2 * edge + scale * (Math.max(...ys) - y0) + 34
  const b = bar(metresOfDegree / scale, 120, units)
  const long = b.metres / metresOfDegree * scale
  const points = l.places.map((p) => at([p.lon, p.lat]))
  return <figure>
    <svg class="walkmap near" viewBox={`0 0 ${w.toFixed(1)} ${h.toFixed(1)}`} role="img" aria-label={`${l.places.length} places in the order of walking${l.boundary.length > 0 ? ' within the boundary of the field' : ''}, north up`}>
      {l.boundary.map((r, i) => <path key={i} class="edge" d={'M' + (r as [number, number][]).map((c) => at(c).map((x) => x.toFixed(1)).join(' ')).join('L') + 'Z'} />)}
      <polyline class="way" points={points.map((p) => p.map((x) => x.toFixed(1)).join(',')).join(' ')} />
      {l.places.map((p, i) => { const [x, y] = points[i]!; return <g key={p.number} class={[p.stratum === 0 && 'thin', done(p) && 'done'].filter(Boolean).join(' ') || undefined}>
        {p.stratum === 0 ? <rect x={x - 11} y={y - 11} width="22" height="22" /> : <circle cx={x} cy={y} r="12" />}
        <text x={x} y={y + 4.5} text-anchor="middle">{p.number}</text>
      </g> })}
      <g class="scale"><path d={`M${edge} ${h - 16}v6h${long.toFixed(1)}v-6`} /><text x={edge + long + 8} y={h - 9}>{b.says}</text></g>
      <g class="north"><path d={`M${w - edge} ${h - 8}v-24m-5 7l5 -8l5 8`} /><text x={w - edge - 12} y={h - 9} text-anchor="end">north</text></g>
    </svg>
    <figcaption class="cap">{l.boundary.length > 0 ? 'Line: the boundary. ' : 'No boundary of this field is known. '}Broken line: the way. Squares: where the fewest plants are expected. Filled: counted.</figcaption>
  </figure>
}
