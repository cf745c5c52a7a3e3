// A check-back: what is measured since it was done, with its interval that narrows
// as more is seen, against the line that it must get past and the other rows.
import { useRef } from 'preact/hooks'
import type * as api from '../api'
import { AsTable, Pairs } from '../parts'
import { digits, extent, label, linear, show, ticks } from './scale'
import { useWidth } from './size'

type Check = NonNullable<api.Spoken['check']>
type Back = NonNullable<api.Spoken['check_back']>

// marks gives round counts from lo to hi, as a scale in equal ratios has them.
export function marks(lo: number, hi: number): number[] {
  const out: number[] = []
  for (let p = 10 ** Math.floor(Math.log10(Math.max(1, lo))); p <= hi; p *= 10) for (const m of [1, 2, 5]) if (m * p >= lo && m * p <= hi) out.push(m * p)
  return out
}

// apart moves labels, sorted from above, so that none lies over the next, and none
// below the foot.
export function apart(of: { y: number }[], gap: number, foot: number): void {
  for (let i = 1; i < of.length; i++) of[i]!.y = Math.max(of[i]!.y, of[i - 1]!.y + gap)
  for (let i = of.length - 1, most = foot; i >= 0; i--, most = of[i + 1]!.y - gap) of[i]!.y = Math.min(of[i]!.y, most)
}

export function Narrowing({ c, d }: { c: Back, d: Check }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const pts = c.course.filter((p) => p.after !== null)
  if (pts.length === 0) return null
  const v = (x: number | null) => x === null ? null : show(d.axis, x)
  const cab = document.documentElement.dataset.dress === 'cab'
  const h = 236, left = cab ? 60 : 52, right = cab ? 158 : 118, top = 12, foot = 44
  const last = pts[pts.length - 1]!
  const late = pts.slice(Math.floor(pts.length / 4))
  const [lo, hi] = extent([v(c.before), v(c.line), v(c.peers), v(c.peers_low), v(c.peers_high), ...pts.map((p) => v(p.after)), ...late.map((p) => v(p.low)), ...late.map((p) => v(p.high))])
  const y0 = linear(lo, hi, h - foot, top)
  const y = (x: number) => Math.max(top, Math.min(h - foot, y0(x)))
  const a = Math.log(Math.max(1, pts[0]!.seen ?? 1)), b = Math.log(Math.max(2, last.seen ?? 2))
  const lx = b > a ? linear(a, b, left + 6, w - right - 8) : () => (left + w - right) / 2
  const x = (p: { seen: number | null }) => lx(Math.log(Math.max(1, p.seen ?? 1)))
  const unit = d.axis.unit === '%' ? '%' : ''
  const edge = (end: 'low' | 'high') => pts.map((p) => `${x(p).toFixed(1)},${y(v(p[end]) ?? (end === 'low' ? lo : hi)).toFixed(1)}`)
  const path = (of: (p: api.CheckPoint) => number | null) => pts.filter((p) => of(p) !== null).map((p) => `${x(p).toFixed(1)},${y(v(of(p))!).toFixed(1)}`).join(' ')
  // What the lines are stands at their ends, one over the other.
  const ends = [{ says: 'now', at: v(last.after), strong: true }, { says: 'must pass', at: v(last.line) }, { says: 'others', at: v(last.peers) }]
    .flatMap((e) => e.at === null ? [] : [{ ...e, text: `${e.says} ${digits(e.at) + unit}`, y: y(e.at) + 4 }]).sort((a, b) => a.y - b.y)
  apart(ends, 17, h - foot)
  return <div ref={ref}>
    <svg width={w} height={h} role="img" aria-label={d.title}>
      {ticks(lo, hi, 4).map((t) => <text key={t} x={left - 8} y={y(t) + 4} text-anchor="end">{digits(t) + unit}</text>)}
      <polygon points={[...edge('low'), ...edge('high').reverse()].join(' ')} fill="var(--band)" />
      <line x1={left} x2={w - right} y1={h - foot} y2={h - foot} stroke="var(--line)" />
      {pts.some((p) => p.peers !== null) && <polyline points={path((p) => p.peers)} fill="none" stroke="var(--edge)" stroke-width={1.6} />}
      <polyline points={path((p) => p.line)} fill="none" stroke="var(--ink)" stroke-width={1.6} stroke-dasharray="7 4" />
      <polyline points={path((p) => p.after)} fill="none" stroke="var(--accent)" stroke-width={3} />
      <circle cx={x(last)} cy={y(v(last.after)!)} r={5.5} fill="var(--accent)"><title>{label(d.axis, last.after!)}</title></circle>
      {c.peers_low !== null && c.peers_high !== null && <path d={`M${w - right - 2},${y(v(c.peers_low)!)} h5 V${y(v(c.peers_high)!)} h-5`} fill="none" stroke="var(--edge)" stroke-width={1.6}><title>{`eight of ten of the other rows: ${label(d.axis, c.peers_low)} to ${label(d.axis, c.peers_high)}`}</title></path>}
      {ends.map((e) => <text key={e.says} class={e.strong ? 'strong' : undefined} x={w - right + 8} y={e.y}>{e.text}</text>)}
      {marks(pts[0]!.seen ?? 1, last.seen ?? 1).filter((_, i, all) => all.length < w / 70 || i % 3 === (all.length - 1) % 3).map((m) => <text key={m} x={Math.min(w - right - 10, x({ seen: m }))} y={h - foot + 18} text-anchor="middle">{digits(m)}</text>)}
      <text x={w - right} y={h - 6} text-anchor="end">{c.of}{!unit && d.axis.unit ? `; up: ${d.axis.unit}` : ''}</text>
    </svg>
  </div>
}

// CheckBack is the part of a screen that says whether what was done worked.
export function CheckView({ c, d, head }: { c: Back, d?: Check, head?: boolean }) {
  return <>
    {head && <h2>Check-back</h2>}
    {d && d.rows.length > 0 && <figure class="near">
      <Narrowing c={c} d={d} />
      <figcaption class="cap">Shaded: where it lies with 95 in 100, however often one looks. Past the dashed line it is decided.{c.peers_low !== null && ' The bracket holds eight of ten of the other rows.'}</figcaption>
      <AsTable label={d.title} name="check-back"><thead><tr><th class="n">{c.of}</th><th>time</th><th class="n">{c.measure}</th><th class="n">from</th><th class="n">to</th></tr></thead>
        <tbody>{d.rows.map((r) => <tr key={r.seen + r.clock}><td class="n">{r.seen}</td><td>{r.clock}</td><td class="n">{r.after}</td><td class="n">{r.low}</td><td class="n">{r.high}</td></tr>)}</tbody></AsTable>
    </figure>}
    {d && d.lines.length > 0 && <details class="still"><summary>Figures</summary><Pairs label="Check-back" rows={d.lines} /></details>}
  </>
}
