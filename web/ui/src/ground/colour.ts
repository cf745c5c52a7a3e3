// Colours of the ground; pure. Both scales keep an even step of lightness and
// are told apart by people who see red and green alike: magnitudes go from dark
// to light, signed values from a light middle to two dark ends.
// Source of the colours: F. Crameri, Scientific colour maps (batlow, vik), 2018,
// MIT, every ninth of the way.
import type { Theme } from '../state'

const magnitude = ['#011959', '#103f60', '#1c5460', '#3c6d56', '#687b3e', '#9d892b', '#d29343', '#f8a17b', '#fdb7bc', '#faccfa']
const signed = ['#001261', '#033e7d', '#1e6f9d', '#71a8c4', '#c9dde7', '#eacebd', '#d39774', '#be6533', '#8b2706', '#590008']

type RGB = [number, number, number]
export const parse = (hex: string): RGB => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16)) as RGB
const write = (c: RGB): string => '#' + c.map((x) => Math.round(Math.max(0, Math.min(255, x))).toString(16).padStart(2, '0')).join('')

function along(scale: string[], t: number): RGB {
  const x = Math.max(0, Math.min(1, t)) * (scale.length - 1)
  const i = Math.min(scale.length - 2, Math.floor(x))
  const a = parse(scale[i]!), b = parse(scale[i + 1]!)
  return a.map((v, k) => v + (b[k]! - v) * (x - i)) as RGB
}

// What part of a scale stands out from the ground of each theme.
const part: Record<Theme, [number, number]> = { light: [0.02, 0.95], dark: [0.1, 1], black: [0.06, 1] }
// In the darkest night all is dimmed, blue more than red.
const dim: RGB = [0.84, 0.72, 0.6]

// colours gives n colours from low to high.
export function colours(n: number, bySign: boolean, theme: Theme): string[] {
  const [lo, hi] = bySign ? [0, 1] : part[theme]
  return Array.from({ length: n }, (_, i) => {
    const t = n === 1 ? 0.5 : bySign ? (i + 0.5) / n : i / (n - 1)
    const c = along(bySign ? signed : magnitude, lo + (hi - lo) * t)
    return write(theme === 'black' ? c.map((x, k) => x * dim[k]!) as RGB : c)
  })
}

// lightness is CIE 1976 L* of an sRGB colour under D65.
export function lightness(hex: string): number {
  const [r, g, b] = parse(hex).map((v) => { const x = v / 255; return x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4 }) as RGB
  const y = 0.2126 * r + 0.7152 * g + 0.0722 * b
  return y <= 216 / 24389 ? y * 24389 / 27 : 116 * Math.cbrt(y) - 16
}

// bar gives a round length for a scale bar of at most so many pixels: metres and
// what is written.
export function bar(metresPerPixel: number, pixels: number, units: 'us' | 'metric'): { metres: number, says: string } {
  const most = metresPerPixel * pixels
  const foot = 0.3048, mile = 1609.344
  const [unit, name] = units === 'metric' ? (most < 1000 ? [1, 'm'] as const : [1000, 'km'] as const) : (most < mile / 2 ? [foot, 'ft'] as const : [mile, 'mi'] as const)
  const x = most / unit
  const p = 10 ** Math.floor(Math.log10(x))
  const f = [5, 3, 2, 1].find((k) => k * p <= x * (1 + 1e-9)) ?? 1
  return { metres: f * p * unit, says: `${Number((f * p).toPrecision(3)).toLocaleString('en-US')} ${name}` }
}

// aside tells how far a mark at x, y moves sideways so that it lies upon no other:
// to the right, and at the map's edge to the left.
export function aside(x: number, y: number, taken: [number, number][], wide: number, width: number): number {
  const free = (dx: number) => !taken.some(([a, b]) => Math.abs(a - x - dx) < wide && Math.abs(b - y) < wide)
  for (let k = 0; k < 20; k++) for (const dx of [k * wide, -k * wide]) {
    if (free(dx) && (k === 0 || x > width || x < 0 || x + dx + wide / 2 <= width && x + dx - wide / 2 >= 0)) return dx
  }
  return 0
}

// A frame is left, top, right, bottom in pixels.
export type Frame = [number, number, number, number]

// beside tells where a mark at x stands so that it does not hide a field that is
// no wider on the screen than four marks: right of it, and at the map's edge left.
export function beside(x: number, [left, top, right, bottom]: Frame, wide: number, width: number): number {
  if (Math.max(right - left, bottom - top) > 4 * wide) return x
  return right + wide <= width || left < wide ? right + wide / 2 : left - wide / 2
}

// step writes the colours as an expression of the map: froms are where the
// classes after the first begin.
export function step(cols: string[], froms: number[]): unknown[] | string {
  if (cols.length < 2) return cols[0] ?? 'transparent'
  return ['step', ['get', 'value'], cols[0], ...froms.flatMap((f, i) => [f, cols[i + 1]])]
}

// hatch draws lines that show on light and on dark colours alike: pixels of a
// square that repeats.
export function hatch(size: number, light: string, dark: string): { width: number, height: number, data: Uint8ClampedArray } {
  const data = new Uint8ClampedArray(size * size * 4)
  const l = parse(light), d = parse(dark)
  for (let y = 0; y < size; y++) for (let x = 0; x < size; x++) {
    const k = (x + y) % size
    const c = k < size * 0.16 ? l : k < size * 0.32 ? d : null
    if (c) data.set([...c, 235], (y * size + x) * 4)
  }
  return { width: size, height: size, data }
}

// lightFirst puts the lighter of two colours first, for the hatching.
export function lightFirst(a: string, b: string): [string, string] {
  const sum = (h: string) => [1, 3, 5].reduce((s, i) => s + parseInt(h.slice(i, i + 2), 16), 0)
  return sum(a) >= sum(b) ? [a, b] : [b, a]
}
