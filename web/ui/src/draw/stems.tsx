// Places on the disc, waves in a turn, moments: a stem a value, over the band of
// what is usual.
import { useRef } from 'preact/hooks'
import type { Axis } from '../api'
import { digits, extent, label, linear, show, ticks } from './scale'
import { useWidth } from './size'

export interface Stem { at: number, name: string, value: number | null, mark: boolean, says: string }

export function Stems(p: { stems: Stem[], axis: Axis, band?: [number, number] | null, label: string, x: string }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const h = 210, left = 46, right = 12, top = 26, foot = 26
  const vs = p.stems.map((s) => s.value === null ? null : show(p.axis, s.value))
  const [, hi] = extent([...vs, 0, ...(p.band ? [show(p.axis, p.band[1])] : [])])
  const y = linear(0, hi, h - foot, top)
  const ats = p.stems.map((s) => s.at)
  const a = Math.min(...ats), b = Math.max(...ats)
  const x = b > a ? linear(a, b, left + 8, w - right - 4) : () => (left + w - right) / 2
  const unit = p.axis.unit === '%' ? '%' : ''
  const marked = p.stems.filter((s) => s.mark && s.value !== null)
  const every = Math.ceil((b - a + 1) / Math.max(2, Math.floor(w / 90)))
  const unitWidth = p.x.length * 7.6 + 18 // the axis' name stands at its end
  return <div ref={ref}>
    <svg width={w} height={h} role="img" aria-label={p.label}>
      {p.band && <rect x={left} width={w - left - right} y={y(Math.min(hi, show(p.axis, p.band[1])))} height={Math.max(2, y(Math.max(0, show(p.axis, p.band[0]))) - y(Math.min(hi, show(p.axis, p.band[1]))))} fill="var(--band)" />}
      {ticks(0, hi, 3).map((t) => <text key={t} x={left - 6} y={y(t) + 4} text-anchor="end">{digits(t) + unit}</text>)}
      <line x1={left} x2={w - right} y1={y(0)} y2={y(0)} stroke="var(--line)" />
      {p.stems.map((s, i) => s.value !== null && <line key={i} x1={x(s.at)} x2={x(s.at)} y1={y(0)} y2={y(vs[i]!)} stroke={s.mark ? 'var(--accent)' : 'var(--ink)'} stroke-width={s.mark ? 4 : 2}><title>{`${s.name}: ${s.says}`}</title></line>)}
      {p.stems.filter((s) => (s.at - a) % every === 0 && x(s.at) < w - right - unitWidth).map((s) => <text key={s.at} x={x(s.at)} y={h - 8} text-anchor="middle">{digits(s.at)}</text>)}
      <text x={w - right} y={h - 8} text-anchor="end">{p.x}</text>
      {marked.slice(0, 1).map((s) => {
        const px = x(s.at), end = px > w / 2
        return <text key="m" class="strong" x={px + (end ? -8 : 8)} y={Math.max(top - 8, y(show(p.axis, s.value!)) + 4)} text-anchor={end ? 'end' : 'start'}>{`${s.name}: ${label(p.axis, s.value!)}`}</text>
      })}
    </svg>
  </div>
}
