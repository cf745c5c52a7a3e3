// A measure through the day: the rows of a finding against the others, with
// since when it lasts.
import { useRef } from 'preact/hooks'
import type * as api from '../api'
import { digits, ends, extent, label, linear, show, ticks } from './scale'
import { useWidth } from './size'
import { AsTable } from '../parts'

type Course = api.Course

const ms = (t: string) => Date.parse(t)

export function CourseView({ c }: { c: Course }) {
  const rows = c.of
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  if (c.rows.length < 2) return null
  const a = c.measure.axis
  const right = 14, h = 200, top = 14, foot = 26
  const v = (x: number | null) => x === null ? null : show(a, x)
  const near = [...c.rows, ...c.peers]
  const lines = ends(c.measure.limit)
  // The axis holds all dots; intervals of a few seeds may reach beyond it.
  const [lo, hi] = extent(near.map((b) => v(b.value)).concat(c.rows.filter((b) => b.high !== null && b.value !== null && v(b.high)! < 3 * v(b.value)!).flatMap((b) => [v(b.low), v(b.high)])).concat(lines.map(v), c.target.map((b) => v(b.value))))
  const times = near.map((b) => ms(b.time!))
  const cab = document.documentElement.dataset.dress === 'cab'
  const left = 14 + Math.max(...ticks(lo, hi, 4).map((t) => digits(t).length + 1)) * (cab ? 10.5 : 7.6)
  const x = linear(Math.min(...times), Math.max(...times), left + 6, w - right - 6)
  const y = linear(lo, hi, h - foot, top)
  const clamp = (n: number) => Math.max(top, Math.min(h - foot, n))
  const unit = a.unit === '%' ? '%' : ''
  const asked = (t: string | null) => { const x = c.target.find((b) => b.time === t)?.value; return typeof x === 'number' ? label(a, x) : '' }
  const band = c.beside ? [] : c.peers.filter((b) => b.low !== null && b.high !== null)
  const area = band.length > 1 ? 'M' + band.map((b) => `${x(ms(b.time!))} ${clamp(y(v(b.high)!))}`).join('L') + 'L' + [...band].reverse().map((b) => `${x(ms(b.time!))} ${clamp(y(v(b.low)!))}`).join('L') + 'Z' : ''
  const since = c.since ? x(ms(c.since)) : null
  const until = c.until ? x(ms(c.until)) : null
  const title = c.title.charAt(0).toUpperCase() + c.title.slice(1)
  return <figure>
    <h2>{title}</h2>
    <div ref={ref}>
      <svg width={w} height={h} role="img" aria-label={`${title}: ${rows} against ${c.others || 'what was asked for'}`}>
        {since !== null && <rect x={Math.max(left, since)} width={Math.max(0, Math.min(w - right, until ?? w - right) - Math.max(left, since))} y={top} height={h - foot - top} fill="var(--wash)" />}
        {area && <path d={area} fill="var(--band)" />}
        {ticks(lo, hi, 4).map((t) => <text key={t} x={left - 8} y={y(t) + 4} text-anchor="end">{digits(t) + unit}</text>)}
        <line x1={left} x2={w - right} y1={h - foot} y2={h - foot} stroke="var(--line)" />
        {lines.map((l) => <line key={l} x1={left} x2={w - right} y1={y(v(l)!)} y2={y(v(l)!)} stroke="var(--edge)" stroke-width={1.5} stroke-dasharray="7 4" />)}
        {c.ticks.filter((_, i) => i % Math.ceil(c.ticks.length * 76 / (w - left)) === 0).map((t) => { const px = x(ms(t.time!)); return px > left + 24 && px < w - right - 24 && <text key={t.time} x={px} y={h - 8} text-anchor="middle">{t.clock}</text> })}
        {c.target.length > 1 && <path d={'M' + c.target.map((b) => `${x(ms(b.time!))} ${clamp(y(v(b.value)!))}`).join('L')} fill="none" stroke="var(--edge)" stroke-width={1.6} />}
        {c.beside && c.peers.map((b) => b.value !== null && <circle key={b.time} cx={x(ms(b.time!))} cy={clamp(y(v(b.value)!))} r={3.6} fill="var(--paper)" stroke="var(--ink)" stroke-width={1.5}><title>{`${b.clock}, ${c.others}: ${b.says}`}</title></circle>)}
        {c.rows.map((b) => b.value !== null && <g key={b.time}>
          <title>{`${b.clock}: ${b.says}`}</title>
          {b.low !== null && b.high !== null && <line x1={x(ms(b.time!))} x2={x(ms(b.time!))} y1={clamp(y(v(b.low)!))} y2={clamp(y(v(b.high)!))} stroke="var(--accent)" stroke-width={1.6} />}
          <circle cx={x(ms(b.time!))} cy={clamp(y(v(b.value)!))} r={3.6} fill="var(--accent)" />
        </g>)}
        {since !== null && since > left && since < w - right && <line x1={since} x2={since} y1={top} y2={h - foot} stroke="var(--ink)" stroke-dasharray="4 3" />}
      </svg>
    </div>
    <figcaption class="cap">Dots: {rows}, with 90% intervals. {area && `Grey band: ${c.others}. `}{c.beside && `Rings: ${c.others}. `}{c.target.length > 0 && 'Line: what was asked for. '}Shaded: while it {c.over ? 'lasted' : 'lasts'}.{c.measure.limit.says && ` Dashed: your limit, ${c.measure.limit.says}.`} {!unit && `In ${a.unit}.`}</figcaption>
    <AsTable label={title} name={title}><thead><tr><th>time</th><th>{rows}</th>{c.peers.length > 0 && <th>{c.others}</th>}{c.target.length > 0 && <th>asked for</th>}</tr></thead>
      <tbody>{c.rows.map((b) => <tr key={b.time}><td class="nowrap">{b.clock}</td><td>{b.says}</td>{c.peers.length > 0 && <td>{c.peers.find((p) => p.time === b.time)?.says}</td>}{c.target.length > 0 && <td>{asked(b.time)}</td>}</tr>)}</tbody></AsTable>
  </figure>
}
