// Differences by measure: a dot with its interval a measure, each in steps of
// the smallest difference that the trial shows, which is the band about nothing.
import { useRef } from 'preact/hooks'
import { digits, linear, ticks } from '../draw/scale'
import { useWidth } from '../draw/size'

export interface Line { key: string, name: string, says: string, value: number | null, low: number | null, high: number | null, smallest: number, mark?: boolean, sub?: boolean, pick?: () => void }

// clear tells whether the interval leaves nothing out.
const most = 4

export function Diffs({ lines, label }: { lines: Line[], label: string }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const narrow = w < 640
  const lane = narrow ? 62 : 34
  const left = narrow ? 4 : 190, right = narrow ? 4 : Math.min(290, w * 0.36)
  const scaled = lines.flatMap((l) => [l.value, l.low, l.high].map((v) => v === null ? 0 : Math.abs(v / l.smallest)))
  const end = Math.min(most, Math.max(1.5, ...scaled) * 1.05)
  const x = linear(-end, end, left + 8, w - right - 8)
  const at = (v: number, l: Line) => x(Math.max(-end, Math.min(end, v / l.smallest)))
  const h = lines.length * lane + 6
  return <div ref={ref}>
    <svg width={w} height={h + 40} role="img" aria-label={label}>
      <rect x={x(-1)} width={x(1) - x(-1)} y={0} height={h} fill="var(--band)" />
      <line x1={x(0)} x2={x(0)} y1={0} y2={h} stroke="var(--edge)" />
      {lines.map((l, i) => {
        const y = 3 + i * lane + lane * (narrow ? 0.8 : 0.5)
        const over = (v: number | null) => v !== null && Math.abs(v / l.smallest) > end
        return <g key={l.key}>
          <title>{`${l.name}: ${l.says}`}</title>
          <text x={narrow ? left : left - 10} y={narrow ? y - 32 : y + 5} text-anchor={narrow ? 'start' : 'end'} class={l.mark ? 'strong' : undefined}>{l.name}</text>
          {narrow && <text x={left} y={y - 15}>{l.says}</text>}
          {l.low !== null && l.high !== null && <line x1={at(l.low, l)} x2={at(l.high, l)} y1={y} y2={y} stroke="var(--ink)" stroke-width={1.7} />}
          {l.value !== null && !over(l.value) && <circle cx={at(l.value, l)} cy={y} r={l.sub ? 3.4 : l.mark ? 6 : 4.6} fill={l.mark ? 'var(--accent)' : 'var(--ink)'} />}
          {l.value !== null && over(l.value) && <path d={l.value > 0 ? `M${x(end) - 9} ${y - 6}l9 6l-9 6z` : `M${x(-end) + 9} ${y - 6}l-9 6l9 6z`} fill={l.mark ? 'var(--accent)' : 'var(--ink)'}><title>beyond the drawing</title></path>}
          {!narrow && <text x={w - right + 6} y={y + 5}>{l.says}</text>}
        </g>
      })}
      {ticks(-end, end, narrow ? 4 : 7).map((t) => <g key={t}>
        <line x1={x(t)} x2={x(t)} y1={h} y2={h + 5} stroke="var(--edge)" />
        <text x={x(t)} y={h + 19} text-anchor="middle">{t > 0 ? '+' + digits(t) : t < 0 ? '−' + digits(-t) : '0'}</text>
      </g>)}
      <text x={(x(-end) + x(end)) / 2} y={h + 36} text-anchor="middle">{narrow ? 'times the smallest it shows' : 'times the smallest difference that this trial shows'}</text>
    </svg>
  </div>
}
