// Rows: a dot with its interval a row, over the band of the peers.
import { useRef } from 'preact/hooks'
import type { Axis } from '../api'
import { digits, extent, linear, show, ticks } from './scale'
import { useWidth } from './size'

export interface Dot { key: string, name: string, value: number | null, low?: number | null, high?: number | null, mark?: boolean, faint?: boolean, says: string, note?: string }

export function Dots(p: { dots: Dot[], axis: Axis, band?: [number, number] | null, label: string, lane?: number, limits?: number[], target?: number | null, range?: [number, number] }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const cab = document.documentElement.dataset.dress === 'cab'
  const lane = p.lane ?? (cab ? 33 : 28)
  const left = Math.max(...p.dots.map((d) => d.name.length), 4) * (cab ? 10 : 7.4) + 14
  const notes = w > 520 && p.dots.some((d) => d.note)
  const right = notes ? 150 : 16
  const v = (x: number | null | undefined) => typeof x === 'number' ? show(p.axis, x) : null
  const [lo, hi] = p.range ?? extent(p.dots.flatMap((d) => [v(d.value), v(d.low), v(d.high)]).concat([...(p.band ?? []), ...(p.limits ?? []), ...(typeof p.target === 'number' ? [p.target] : [])].map((b) => show(p.axis, b))))
  const x = linear(lo, hi, left, w - right)
  const clamp = (n: number) => Math.max(left, Math.min(w - right, n))
  const h = p.dots.length * lane + 8
  const unit = p.axis.unit === '%' ? '%' : ''
  return <div ref={ref}>
    <svg width={w} height={h + 26} role="img" aria-label={p.label}>
      {p.band && <rect x={clamp(x(show(p.axis, p.band[0])))} width={Math.max(2, clamp(x(show(p.axis, p.band[1]))) - clamp(x(show(p.axis, p.band[0]))))} y={0} height={h} fill="var(--band)" />}
      {ticks(lo, hi, Math.max(2, Math.floor(w / 130))).map((t) => <g key={t}>
        <line x1={x(t)} x2={x(t)} y1={h} y2={h + 5} stroke="var(--edge)" />
        <text x={x(t)} y={h + 20} text-anchor="middle">{digits(t) + unit}</text>
      </g>)}
      {!unit && <text x={w} y={h + 20} text-anchor="end">{p.axis.unit}</text>}
      {typeof p.target === 'number' && <line x1={x(show(p.axis, p.target))} x2={x(show(p.axis, p.target))} y1={0} y2={h} stroke="var(--edge)" />}
      {(p.limits ?? []).map((l) => <line key={l} x1={x(show(p.axis, l))} x2={x(show(p.axis, l))} y1={0} y2={h} stroke="var(--edge)" stroke-width={1.5} stroke-dasharray="7 4" />)}
      {p.dots.map((d, i) => {
        const y = 4 + (i + 0.5) * lane
        const a = v(d.low), b = v(d.high), m = v(d.value)
        return <g key={d.key} opacity={d.faint ? 0.55 : 1}>
          <title>{`${d.name}: ${d.says}`}</title>
          <rect x={0} y={y - lane / 2} width={w} height={lane} fill="transparent" />
          <text x={left - 12} y={y + 5} text-anchor="end" class={d.mark ? 'strong' : undefined}>{d.name}</text>
          {a !== null && b !== null && <line x1={clamp(x(a))} x2={clamp(x(b))} y1={y} y2={y} stroke="var(--ink)" stroke-width={1.7} stroke-dasharray={d.faint ? '3 3' : undefined} />}
          {m !== null && <circle cx={x(m)} cy={y} r={d.mark ? 6 : 4.6} fill={d.mark ? 'var(--accent)' : 'var(--ink)'} />}
          {m === null && <text x={left + 6} y={y + 5} class={d.mark ? 'strong' : undefined}>{d.says || 'no data'}</text>}
          {notes && d.note && <text x={w - right + 12} y={y + 5}>{d.note}</text>}
        </g>
      })}
    </svg>
  </div>
}
