// Differences by measure: a dot with its interval a measure, each in steps of
// the smallest difference that the trial shows, which is the band about nothing.
import { useRef } from 'preact/hooks'
import { digits, linear } from '../draw/scale'
import { useWidth } from '../draw/size'

export interface Line { key: string, name: string, says: string, value: number | null, low: number | null, high: number | null, smallest: number, mark?: boolean, sub?: boolean, pick?: () => void }

// bend keeps one step as it is and draws what is beyond by its logarithm: what
// stands out stays on the axis, and what does not is seen.
const bend = (v: number) => Math.abs(v) <= 1 ? v : Math.sign(v) * (1 + Math.log2(Math.abs(v)))

export function Diffs({ lines, label }: { lines: Line[], label: string }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const narrow = w < 640
  const lane = narrow ? 62 : 34
  const left = narrow ? 4 : 190, right = narrow ? 4 : Math.min(290, w * 0.36)
  const scaled = lines.flatMap((l) => [l.value, l.low, l.high].map((v) => v === null ? 0 : Math.abs(v / l.smallest)))
  const end = Math.max(2, ...scaled) * 1.05
  const drawn = linear(-bend(end), bend(end), left + 8, w - right - 8)
  const x = (v: number) => drawn(bend(v))
  const at = (v: number, l: Line) => x(v / l.smallest)
  const powers = [1, 2, 4, 8, 16, 32, 64, 128, 256, 512].filter((t) => t <= end)
  const some = powers.length > (narrow ? 3 : 5) ? powers.filter((_, i) => i % 2 === 0) : powers
  const marks = [...some.map((t) => -t).reverse(), 0, ...some]
  const h = lines.length * lane + 6
  return <div ref={ref}>
    <svg width={w} height={h + 40} role="img" aria-label={label}>
      {lines.map((l, i) => { // on a phone the words stand above, and band and line leave them free
        const y = 3 + i * lane + (narrow ? lane * 0.8 - 11 : 0), tall = narrow ? 22 : lane
        return <g key={l.key}>
          <rect x={x(-1)} width={x(1) - x(-1)} y={y} height={tall} fill="var(--band)" />
          <line x1={x(0)} x2={x(0)} y1={y} y2={y + tall} stroke="var(--edge)" />
        </g>
      })}
      {lines.map((l, i) => {
        const y = 3 + i * lane + lane * (narrow ? 0.8 : 0.5)
        return <g key={l.key}>
          <title>{`${l.name}: ${l.says}`}</title>
          <text x={narrow ? left : left - 10} y={narrow ? y - 32 : y + 5} text-anchor={narrow ? 'start' : 'end'} class={l.mark ? 'strong' : undefined}>{l.name}</text>
          {narrow && <text x={left} y={y - 15}>{l.says}</text>}
          {l.low !== null && l.high !== null && <line x1={at(l.low, l)} x2={at(l.high, l)} y1={y} y2={y} stroke="var(--ink)" stroke-width={1.7} />}
          {l.value !== null && <circle cx={at(l.value, l)} cy={y} r={l.sub ? 3.4 : l.mark ? 6 : 4.6} fill={l.mark ? 'var(--accent)' : 'var(--ink)'} />}
          {!narrow && <text x={w - right + 6} y={y + 5}>{l.says}</text>}
        </g>
      })}
      {marks.map((t) => <g key={t}>
        <line x1={x(t)} x2={x(t)} y1={h} y2={h + 5} stroke="var(--edge)" />
        <text x={x(t)} y={h + 19} text-anchor="middle">{t > 0 ? '+' + digits(t) : t < 0 ? '−' + digits(-t) : '0'}</text>
      </g>)}
      <text x={(x(-end) + x(end)) / 2} y={h + 36} text-anchor="middle">1 = just visible</text>
    </svg>
  </div>
}
