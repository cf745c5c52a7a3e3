// What a setting does: a response a panel, one over the other on one axis, each
// with its band; where one is, what to try, and what lies past a limit.
import { useRef } from 'preact/hooks'
import type * as api from '../api'
import { apart, digits, extent, linear, show, ticks } from './scale'
import { useWidth } from './size'

// side tells on which side of its line a word of so many pixels stands, so that
// it stays in the drawing.
export const side = (x: number, width: number, room: number): 'start' | 'end' => x + 6 + room > width ? 'end' : 'start'

export function Panels({ l }: { l: api.Lever }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const of = l.panels
  const first = of[0]
  if (!first || l.least === null || l.most === null) return null
  const cab = document.documentElement.dataset.dress === 'cab'
  const narrow = w < 520
  // Titles stand left of the numbers, as wide as letters of the dress are.
  const letter = cab ? 10 : 7.4, line = cab ? 21 : 16, numbers = cab ? 70 : 52
  const longest = Math.max(...of.flatMap((p) => [...wrap(p.label), p.shown.unit === '%' ? '' : p.shown.unit]).map((t) => t.length))
  const left = narrow ? numbers - 6 : Math.max(140, Math.ceil(longest * letter) + numbers + 4), right = 18, each = 112, between = narrow ? 44 : 24, top = narrow ? 64 : 46
  const sx = (v: number) => show(l.shown, v)
  const x = linear(sx(l.least), sx(l.most), left, w - right)
  const height = top + of.length * each + (of.length - 1) * between
  const now = l.now === null ? null : x(sx(l.now))
  const next = l.next === null || !['try', 'trying', 'keep', 'back', 'not-told'].includes(l.verdict) ? null : x(sx(l.next))
  const room = cab ? 90 : 62
  const word = (at: number, y: number, text: string, strong?: boolean) => {
    const s = side(at, w, room)
    return <text class={strong ? 'strong' : undefined} x={at + (s === 'start' ? 6 : -6)} y={y} text-anchor={s} style={strong ? 'fill: var(--accent)' : undefined}>{text}</text>
  }
  const along = ticks(sx(l.least), sx(l.most), Math.max(2, Math.floor((w - left) / 90)))
  const alongSays = apart(along)
  const past = l.past.map((p) => ({ from: x(sx(p.from)), to: x(sx(p.to)) }))
  return <div ref={ref}>
    <svg width={w} height={height + 58} role="img" aria-label={`What ${l.label.toLowerCase()} does to ${of.map((p) => p.label).join(', ')}`}>
      {of.map((p, i) => {
        const y0 = top + i * (each + between), y1 = y0 + each
        const v = (n: number | null) => n === null ? null : show(p.shown, n)
        const limits = [p.least, p.most].filter((n) => n !== null).map((n) => show(p.shown, n))
        const inside = limits.filter((n) => { const [a, b] = extent(p.low.concat(p.high).map(v), false); return n > a - (b - a) * 0.6 && n < b + (b - a) * 0.6 })
        const [lo, hi] = extent(p.low.concat(p.high).map(v).concat(inside), false)
        const y = linear(lo, hi, y1, y0)
        const px = p.at.map((a) => x(sx(a!)))
        const mean = 'M' + p.mean.map((m, k) => `${px[k]} ${y(v(m)!)}`).join('L')
        const band = 'M' + p.high.map((m, k) => `${px[k]} ${y(v(m)!)}`).join('L') + 'L' + p.low.map((m, k) => `${px[k]} ${y(v(m)!)}`).reverse().join('L') + 'Z'
        const unit = p.shown.unit === '%' ? '%' : ''
        const marks = ticks(lo, hi, 3)
        const ends = marks.length > 1 ? [marks[0]!, marks[marks.length - 1]!] : marks
        const says = apart(ends)
        return <g key={p.measure}>
          <text class="strong" x={narrow ? left : left - numbers} y={narrow ? y0 - 8 : y0 + 14} text-anchor={narrow ? 'start' : 'end'}>{!narrow && p.label.length > 14 ? wrap(p.label).map((t, k) => <tspan key={k} x={left - numbers} dy={k ? line : 0}>{t}</tspan>) : p.label}{narrow && !unit ? `, ${p.shown.unit}` : ''}</text>
          {!narrow && !unit && <text x={left - numbers} y={y0 + 14 + line * wrap(p.label).length} text-anchor="end">{p.shown.unit}</text>}
          <path d={band} fill="var(--band)" />
          {ends.map((t, k) => <text key={t} x={left - 8} y={y(t) + 4} text-anchor="end">{says[k] + unit}</text>)}
          <line x1={left} x2={w - right} y1={y1} y2={y1} stroke="var(--line)" />
          {inside.map((n) => <line key={n} x1={left} x2={w - right} y1={y(n)} y2={y(n)} stroke="var(--edge)" stroke-width={1.5} stroke-dasharray="7 4" />)}
          {past.map((s) => <rect key={s.from} x={s.from} y={y0} width={Math.max(2, s.to - s.from)} height={each} fill="none" stroke="var(--edge)" stroke-width={1.3} stroke-dasharray="2 3" />)}
          <path d={mean} fill="none" stroke="var(--ink)" stroke-width={1.8} />
          {now !== null && now >= left && now <= w - right && <line x1={now} x2={now} y1={y0} y2={y1} stroke="var(--soft)" stroke-width={2} />}
          {next !== null && <line x1={next} x2={next} y1={y0} y2={y1} stroke="var(--accent)" stroke-width={2.4} />}
        </g>
      })}
      {next !== null && word(next, 14, `${({ try: 'try', trying: 'tried', 'not-told': 'tried' } as Record<string, string>)[l.verdict] ?? 'set'} ${digits(sx(l.next!))}`, true)}
      {now !== null && word(now, cab ? 36 : 32, `now ${digits(sx(l.now!))}`)}
      {!narrow && past.filter((s) => s.to - s.from > 90 && (now === null || Math.abs((s.from + s.to) / 2 - now) > 130)).map((s) => <text key={s.from} x={(s.from + s.to) / 2} y={cab ? 36 : 32} text-anchor="middle">past your limit</text>)}
      {along.map((t, k) => <g key={t}>
        <line x1={x(t)} x2={x(t)} y1={height} y2={height + 5} stroke="var(--edge)" />
        <text x={x(t)} y={height + 20} text-anchor="middle">{alongSays[k]}</text>
      </g>)}
      <text x={(left + w - right) / 2} y={height + 44} text-anchor="middle">{`${l.label.toLowerCase()}, ${l.shown.unit}`}</text>
    </svg>
  </div>
}

// wrap parts a label into lines of about 14 letters.
function wrap(s: string): string[] {
  const out: string[] = []
  for (const t of s.split(' ')) {
    const last = out[out.length - 1]
    if (last !== undefined && (last + ' ' + t).length <= 14) out[out.length - 1] = last + ' ' + t
    else out.push(t)
  }
  return out
}
