import { describe, expect, it, test } from 'vitest'
import { aside, bar, colours, hatch, lightness, outline, step } from '../src/ground/colour'

const themes = ['light', 'dark', 'black'] as const

describe('colours', () => {
  test('lightness by hand: white, black, middle grey (CIE 1976)', () => {
    expect(lightness('#ffffff')).toBeCloseTo(100, 5)
    expect(lightness('#000000')).toBe(0)
    expect(lightness('#777777')).toBeCloseTo(50, 0)
  })
  for (const theme of themes) for (let n = 2; n <= 8; n++) {
    test(`${theme}, ${n} magnitudes: each is lighter than the one before by as much as shows`, () => {
      const ls = colours(n, false, theme).map(lightness)
      for (let i = 1; i < n; i++) expect(ls[i]! - ls[i - 1]!).toBeGreaterThan(2.5)
    })
  }
  for (const theme of themes) for (const n of [2, 4, 6, 8]) {
    test(`${theme}, ${n} signed: both sides darken outwards alike`, () => {
      const ls = colours(n, true, theme).map(lightness)
      for (let i = 1; i < n / 2; i++) {
        expect(ls[i]!).toBeGreaterThan(ls[i - 1]!)
        expect(ls[n - 1 - i]!).toBeGreaterThan(ls[n - i]!)
      }
      for (let i = 0; i < n / 2; i++) expect(Math.abs(ls[i]! - ls[n - 1 - i]!)).toBeLessThan(14)
    })
  }
  test('one class has one colour', () => expect(colours(1, false, 'light')).toHaveLength(1))
})

describe('bar', () => {
  test('round lengths that fit', () => {
    expect(bar(1, 100, 'metric')).toEqual({ metres: 100, says: '100 m' })
    expect(bar(25, 100, 'metric')).toEqual({ metres: 2000, says: '2 km' })
    expect(bar(1, 100, 'us').says).toBe('300 ft')
    expect(bar(1, 100, 'us').metres).toBeCloseTo(91.44, 6)
    expect(bar(10, 100, 'us').says).toBe('0.5 mi')
    expect(bar(0.02, 100, 'metric').says).toBe('2 m')
  })
  test('never wider than asked for, never under a fifth of it', () => {
    for (let m = 0.01; m < 300; m *= 1.07) for (const u of ['us', 'metric'] as const) {
      const b = bar(m, 120, u)
      expect(b.metres).toBeLessThanOrEqual(m * 120 * (1 + 1e-9))
      expect(b.metres).toBeGreaterThan(m * 120 / 5)
    }
  })
})

test('step names the class ends in order', () => {
  expect(step(['a', 'b', 'c'], [1, 2])).toEqual(['step', ['get', 'value'], 'a', 1, 'b', 2, 'c'])
  expect(step(['a'], [])).toBe('a')
})

test('hatching repeats without a seam', () => {
  const h = hatch(8, '#ffffff', '#000000')
  const at = (x: number, y: number) => h.data[((y % 8) * 8 + x % 8) * 4 + 3]!
  for (let y = 0; y < 8; y++) for (let x = 0; x < 8; x++) expect(at(x + 1, y + 7)).toBe(at(x, y))
  expect([...h.data].filter((_, i) => i % 4 === 3 && h.data[i]! > 0).length).toBeGreaterThan(8)
})

describe('marks side by side', () => {
  it('never upon each other and within the map', () => {
    const taken: [number, number][] = []
    for (let i = 0; i < 8; i++) {
      const dx = aside(370, 50, taken, 36, 390)
      expect(taken.every(([x]) => Math.abs(x - 370 - dx) >= 36)).toBe(true)
      if (i > 0) { expect(370 + dx + 18).toBeLessThanOrEqual(390); expect(370 + dx - 18).toBeGreaterThanOrEqual(0) }
      taken.push([370 + dx, 50])
    }
  })
  it('alone they stay', () => expect(aside(10, 10, [[10, 200]], 36, 390)).toBe(0))
})

describe('outline', () => {
  const field = (ring: [number, number][]) => ({ geometry: { coordinates: [[ring]] } })
  it('holds the bounds and keeps shapes: a square of ground stays one', () => {
    const k = Math.cos(42.005 * Math.PI / 180) // a degree of longitude against one of latitude there
    const o = outline({ bounds: [-93, 42, -93 + 0.01 / k, 42.01], boundaries: { features: [field([[-93, 42], [-93 + 0.01 / k, 42], [-93 + 0.01 / k, 42.01]])] }, passes: { features: [] } })!
    const [, , w, h] = o.box.split(' ').map(Number)
    expect(w! / h!).toBeCloseTo(1, 2)
    expect(o.fields).toBe(`M0.0 ${h!.toFixed(1)}L${w!.toFixed(1)} ${h!.toFixed(1)}L${w!.toFixed(1)} 0.0Z`)
  })
  it('nothing has none', () => expect(outline({ bounds: [], boundaries: { features: [] }, passes: { features: [] } })).toBeNull())
})
