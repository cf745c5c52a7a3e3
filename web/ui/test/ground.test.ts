import { describe, expect, it, test } from 'vitest'
import { aside, bar, beside, colours, hatch, lightness, step } from '../src/ground/colour'
import { aimed, at, bounds, boxOf, fitted, margin, outline, paint, project, seen, shownOver, wanted } from '../src/ground/place'

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
  it('a field that they would hide has them beside it', () => {
    expect(beside(120, [100, 80, 160, 140], 36, 390)).toBe(178)
    expect(beside(340, [310, 80, 370, 140], 36, 390)).toBe(292) // at the right edge of the map
    expect(beside(120, [100, 80, 300, 140], 36, 390)).toBe(120) // wide enough
  })
})

describe('frames', () => {
  const west = -93.62, south = 42, east = -93.6, north = 42.02
  it('what is fitted lies in the middle, and touches the margin on two sides', () => {
    for (const [w, h] of [[900, 600], [360, 700]] as const) {
      const f = fitted(boxOf([west, south, east, north]), w, h)
      const [x0, y0] = at(f, ...project(west, north)), [x1, y1] = at(f, ...project(east, south))
      expect(x0 + x1).toBeCloseTo(w, 6)
      expect(y0 + y1).toBeCloseTo(h, 6)
      expect(Math.min(x0, y0)).toBeCloseTo(margin, 6)
    }
  })
  it('no nearer than level 18: 1 m of ground is 512 x 2^18 / (circumference at that latitude) pixels', () => {
    const f = fitted(boxOf([west, south, west + 1e-6, south + 1e-6]), 900, 600)
    const m = f.scale / (2 * Math.PI * 6378137 * Math.cos(south * Math.PI / 180))
    expect(m).toBeCloseTo(4.507, 2)
  })
  it('a camera has its place in the middle, and its bounds are its corners', () => {
    const f = aimed({ lat: 42.01, lon: -93.61, zoom: 15.3 }, 800, 500)
    expect(at(f, ...project(-93.61, 42.01))).toEqual([400, 250])
    const [w, s, e, n] = bounds(f)
    const [x0, y0] = at(f, ...project(w!, n!)), [x1, y1] = at(f, ...project(e!, s!))
    for (const [is, to] of [[x0, 0], [y0, 0], [x1, 800], [y1, 500]] as const) expect(is).toBeCloseTo(to, 4)
  })
  it('a picture is asked for in sizes that are made', () => {
    expect(wanted(null, 900, 600)).toEqual({ width: 900, height: 600, margin, nearest: 18 })
    expect(wanted(null, 9, 9000)).toMatchObject({ width: 16, height: 2048 })
    expect(wanted({ lat: 42, lon: -93, zoom: 16 }, 900, 600)).toMatchObject({ width: 900, height: 600, box: expect.stringMatching(/^-93\.[\d.]+,41\.[\d.]+,-92\.[\d.]+,42\.[\d.]+$/) })
  })
  it('a finding that lies there is looked at, else all', () => {
    const v = { bounds: [1, 2, 3, 4], opens: [1, 2, 2, 3], findings: [{ id: 'a', bounds: [], way: { coordinates: [[[-93, 42], [-93.1, 42.1]], [[-92.9, 41.9]]] } }, { id: 'c', bounds: [5, 6, 7, 8], way: { coordinates: [] } }] } as never
    expect(seen(v, 'a', true)).toEqual([-93.1, 41.9, -92.9, 42.1])
    expect(seen(v, 'c', true)).toEqual([5, 6, 7, 8]) // a piece of ground
    expect(seen(v, 'b', false)).toEqual([1, 2, 3, 4])
    expect(seen(v, 'b', true)).toEqual([1, 2, 2, 3]) // what is shown first
  })
})

test('what is drawn over the cells: as the address says, else as the finding wants it', () => {
  const gap = { left: true, twice: false }, late = { left: true, twice: true }
  const over = (q: string, f?: typeof gap) => shownOver(new URLSearchParams(q), f).join()
  expect(over('')).toBe('')
  expect(over('', gap)).toBe('left')
  expect(over('', late)).toBe('left,twice')
  expect(over('left=0', late)).toBe('twice')
  expect(over('twice=1', gap)).toBe('left,twice')
  expect(over('left=1&finding=x')).toBe('left')
})

test('outline keeps shapes: a square of ground stays one', () => {
  const k = Math.cos(42.005 * Math.PI / 180) // a degree of longitude against one of latitude there
  const ring = [[-93, 42], [-93 + 0.01 / k, 42], [-93 + 0.01 / k, 42.01]]
  const f = fitted(boxOf([-93, 42, -93 + 0.01 / k, 42.01]), 500 + 2 * margin, 500 + 2 * margin)
  const ps = outline({ boundaries: { features: [{ geometry: { coordinates: [[ring]] } }] }, passes: { features: [] } }, f).fields.match(/[\d.]+/g)!.map(Number)
  const want = [28, 528, 528, 528, 528, 28]
  expect(ps).toHaveLength(6)
  ps.forEach((x, i) => expect(Math.abs(x - want[i]!)).toBeLessThan(0.3))
})

describe('paint', () => {
  const h = hatch(8, '#ffffff', '#000000')
  it('a class has its colour, nothing is clear', () => {
    const px = paint(new Uint8Array([0, 1, 2, 2]), 2, ['#102030', '#405060'], h)
    expect([...px]).toEqual([0, 0, 0, 0, 16, 32, 48, 255, 64, 80, 96, 255, 64, 80, 96, 255])
  })
  it('hatching lies over the colour, and the colour shows between', () => {
    const px = paint(new Uint8Array(256).fill(0x81), 16, ['#808080'], h)
    let plain = 0
    for (let i = 0; i < 256; i++) {
      const [r, a] = [px[4 * i]!, px[4 * i + 3]!]
      expect(a).toBe(255)
      const over = h.data[4 * ((i >> 4) % 8 * 8 + i % 8) + 3]! > 0
      if (over) expect(Math.abs(r - 128)).toBeGreaterThan(100)
      else { expect(r).toBe(128); plain++ }
    }
    expect(plain).toBeGreaterThan(100)
  })
  it('a class without a colour is nothing', () => expect([...paint(new Uint8Array([3]), 1, ['#102030'], h)]).toEqual([0, 0, 0, 0]))
})
