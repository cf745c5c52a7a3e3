// Numbers and axes; pure.
import type { Axis, Book, Limit } from '../api'

// show turns a value in SI into the unit shown.
export const show = (a: Axis, si: number): number => (si - a.offset) / a.scale

// digits writes a number as people read it: two digits below 100, whole above,
// thousands parted by commas; the same rule as the program's texts.
export function digits(x: number): string {
  if (!Number.isFinite(x)) return 'not known'
  const a = Math.abs(x)
  if (a === 0) return '0'
  if (a < 10) {
    let places = 1
    for (let s = a; s < 1 && places < 6; s *= 10) places++
    return String(Number(x.toFixed(places)))
  }
  const r = a < 10_000 ? Math.round(x) : Math.round(x / 10 ** (Math.floor(Math.log10(a)) - 2)) * 10 ** (Math.floor(Math.log10(a)) - 2)
  return Math.round(r).toString().replace(/\B(?=(\d{3})+(?!\d))/g, ',')
}

// label writes a shown value with its unit.
export const label = (a: Axis, si: number): string => {
  const d = digits(show(a, si))
  return a.unit === '%' ? d + '%' : a.unit ? `${d} ${a.unit}` : d
}

// stretchSays is how long the stretches are that days are summed up by, 15 m.
export const stretchSays = (units: Book['units'] | undefined): string => units === 'metric' ? '15 m' : 'about 50 ft'

// ticks gives round values from lo to hi, about n of them.
export function ticks(lo: number, hi: number, n: number): number[] {
  if (!(hi > lo) || n < 1) return [lo]
  const raw = (hi - lo) / n
  const p = 10 ** Math.floor(Math.log10(raw))
  const step = [1, 2, 2.5, 5, 10].map((m) => m * p).find((s) => s >= raw) ?? 10 * p
  const out: number[] = []
  for (let k = Math.ceil(lo / step - 1e-9); k * step <= hi + step * 1e-9; k++) out.push(Number((k * step).toPrecision(12)))
  return out
}

// apart writes round values of one axis: with as many digits as it takes to tell
// one from the next.
export function apart(of: number[]): string[] {
  const say = of.map(digits)
  for (let places = 1; places < 7 && new Set(say).size < new Set(of).size; places++) of.forEach((x, i) => { say[i] = String(Number(x.toFixed(places))) })
  return say
}

// round gives ends around lo and hi that are round, and their round values with
// about n steps between.
export function round(lo: number, hi: number, n: number): number[] {
  if (!(hi > lo)) { const d = Math.abs(lo) * 0.1 || 1; lo -= d; hi += d }
  const p = 10 ** Math.floor(Math.log10((hi - lo) / n))
  for (const m of [1, 2, 5, 10, 20]) {
    const a = Math.floor(lo / (m * p) + 1e-9), b = Math.ceil(hi / (m * p) - 1e-9)
    if (b - a <= n) return Array.from({ length: b - a + 1 }, (_, i) => Number(((a + i) * m * p).toPrecision(12)))
  }
  return [lo, hi]
}

// extent gives the ends of an axis that holds all values, from 0 where that is
// near.
export function extent(xs: (number | null | undefined)[], zero = true): [number, number] {
  let lo = Infinity, hi = -Infinity
  for (const x of xs) if (typeof x === 'number' && Number.isFinite(x)) { lo = Math.min(lo, x); hi = Math.max(hi, x) }
  if (!Number.isFinite(lo)) return [0, 1]
  if (zero && lo > 0 && lo < hi * 0.6) lo = 0
  if (hi - lo < 1e-12) { const d = Math.abs(hi) * 0.1 || 1; return [lo - (lo === 0 ? 0 : d), hi + d] }
  const d = (hi - lo) * 0.04
  return [lo === 0 ? 0 : lo - d, hi + d]
}

export const linear = (lo: number, hi: number, a: number, b: number) => (x: number): number => a + (b - a) * (x - lo) / (hi - lo)

// ends gives the ends of a limit that are given, in SI.
export const ends = (l: Limit): number[] => [l.least, l.most].filter((x) => x !== null)
