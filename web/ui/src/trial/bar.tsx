// The bar: rows in the planter's order, and what each carried in each time.
import { useRef } from 'preact/hooks'
import type * as api from '../api'
import { useWidth } from '../draw/size'

type Report = api.Trial['trial']

export const partSays = (t: Report, part: string): string => part === 'with' ? t.label || 'with it' : part === 'without' ? t.against || 'without it' : 'another part'

export function Bar({ t }: { t: Report }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const rows = t.row_1 === 'right' ? [...t.rows].reverse() : t.rows
  const narrow = w < 560
  const left = narrow ? 4 : 150
  const step = Math.max(11, Math.min(44, (w - left - 6) / rows.length))
  const size = Math.min(22, step - 3)
  const each = Math.max(1, Math.ceil(22 / step)) // number every row, or every second
  const top = 24, lane = narrow ? 46 : 34
  const h = top + t.periods.length * lane + 26
  const x = (i: number) => left + (i + 0.5) * step
  return <div ref={ref}>
    <svg width={w} height={h} role="img" aria-label={'Rows of the planter: ' + t.periods.map((p) => p.says).join('; ')}>
      {rows.map((r, i) => (i % each === 0) && <text key={r.row} x={x(i)} y={15} text-anchor="middle" class={r.role === 'part' ? 'strong' : undefined}>{r.row}</text>)}
      {t.periods.map((p, k) => {
        const y = top + k * lane + (narrow ? 18 : 2)
        return <g key={k}>
          <text x={narrow ? left : 0} y={narrow ? y - 5 : y + size / 2 + 5}>{k + 1}. {p.passes} passes</text>
          {rows.map((r, i) => {
            const part = r.parts[k], gone = r.role === 'out'
            return <g key={r.row} opacity={gone ? 0.5 : 1}>
              <title>{`Row ${r.row}: ${partSays(t, part ?? 'other')}${gone ? ', does not count' : ''}`}</title>
              {part === 'other'
                ? <circle cx={x(i)} cy={y + size / 2} r={2.5} fill="var(--soft)" />
                : <rect x={x(i) - size / 2} y={y} width={size} height={size} fill={part === 'with' ? 'var(--accent)' : 'var(--paper)'} stroke={part === 'with' ? 'var(--accent)' : 'var(--ink)'} stroke-width={1.5} stroke-dasharray={gone ? '2 3' : undefined} />}
              {gone && part !== 'other' && <line x1={x(i) - size / 2} x2={x(i) + size / 2} y1={y + size} y2={y} stroke={part === 'with' ? 'var(--paper)' : 'var(--ink)'} stroke-width={1.5} />}
            </g>
          })}
        </g>
      })}
      {rows.map((r, i) => r.class === 'wheel track' && <g key={r.row}>
        <title>{`Row ${r.row} runs in a wheel track`}</title>
        <path d={`M${x(i) - 5} ${h - 18}l4 -4m-4 8l4 -4m-4 8l4 -4M${x(i) + 5} ${h - 18}l-4 -4m4 8l-4 -4m4 8l-4 -4`} stroke="var(--ink)" fill="none" stroke-width={1.4} />
      </g>)}
      {rows.map((r, i) => r.class === 'end of the bar' && <path key={r.row} d={i === 0 ? `M${x(i) + 4} ${h - 18}h-8v10` : `M${x(i) - 4} ${h - 18}h8v10`} stroke="var(--soft)" fill="none" stroke-width={1.6}><title>{`Row ${r.row} is an end of the bar`}</title></path>)}
    </svg>
  </div>
}
