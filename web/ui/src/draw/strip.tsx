// The ground without seed of a finding: where its rows and their neighbours
// planted along the pass.
import { useRef } from 'preact/hooks'
import type * as api from '../api'
import { AsTable } from '../parts'
import { store } from '../state'
import { digits, linear, show, stretchSays, ticks } from './scale'
import { useWidth } from './size'

export function StripView({ s }: { s: api.Strip }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const cab = document.documentElement.dataset.dress === 'cab'
  const lane = cab ? 32 : 24, left = cab ? 78 : 56, right = 14, foot = 24
  const x = linear(s.from_m, s.to_m, left, w - right)
  const h = s.rows.length * lane
  const a = show(s.axis, s.from_m), b = show(s.axis, s.to_m)
  return <figure>
    <h2>Where seed lies, {s.label}</h2>
    <div ref={ref}>
      <svg width={w} height={h + foot} role="img" aria-label={'Where seed lies: ' + s.rows.filter((r) => r.hole).map((r) => `row ${r.row} ${r.hole}`).join(', ')}>
        {s.rows.map((r, i) => {
          const y = (i + 0.5) * lane
          const holes = r.mark ? gaps(r.runs_m, s.from_m, s.to_m) : []
          return <g key={r.row}>
            <text x={left - 8} y={y + 5} text-anchor="end" class={r.mark ? 'strong' : undefined}>row {r.row}</text>
            {pairs(r.runs_m).map(([p, q]) => <rect key={p} x={x(p)} width={Math.max(1.5, x(q) - x(p))} y={y - 4} height={8} fill={r.mark ? 'var(--accent)' : 'var(--edge)'} />)}
            {holes.filter(([p, q]) => x(q) - x(p) > 3).map(([p, q]) => <rect key={'h' + p} x={x(p)} width={x(q) - x(p)} y={y - 6} height={12} fill="none" stroke="var(--accent)" stroke-width={1.5} stroke-dasharray="3 3" />)}
          </g>
        })}
        {ticks(a, b, Math.max(2, Math.floor(w / 150))).filter((t) => linear(a, b, left, w - right)(t) < w - 34).map((t) => <text key={t} x={linear(a, b, left, w - right)(t)} y={h + 18} text-anchor="middle">{digits(t)} {s.axis.unit}</text>)}
      </svg>
    </div>
    <figcaption class="cap">Bars: ground with seed. Dashed: without. Along the pass from its start{s.exact ? '' : `, by stretches of ${stretchSays(store.book?.units)}`}.</figcaption>
    <AsTable label="Where seed lies" name="ground-with-seed"><thead><tr><th>row</th><th>with seed, {s.axis.unit} from the start</th><th>longest part without</th></tr></thead>
      <tbody>{s.rows.map((r) => <tr key={r.row}><td>{r.row}</td><td>{pairs(r.runs_m).map(([p, q]) => `${digits(show(s.axis, p))} to ${digits(show(s.axis, q))}`).join(', ') || 'none'}</td><td>{r.hole}</td></tr>)}</tbody></AsTable>
  </figure>
}

export const pairs = (xs: number[]): [number, number][] => Array.from({ length: xs.length / 2 }, (_, i) => [xs[2 * i]!, xs[2 * i + 1]!])

// gaps gives what lies between runs, from one place to another.
export function gaps(runs: number[], from: number, to: number): [number, number][] {
  const at = [from, ...runs, to]
  return pairs(at).filter(([a, b]) => b > a)
}
