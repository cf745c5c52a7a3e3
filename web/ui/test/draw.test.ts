import { describe, expect, it } from 'vitest'
import { decode } from '../src/api'
import { levelOf, levelScale, nearest, type Tile } from '../src/draw/ribbon'
import { digits, extent, label, show, ticks, toSI } from '../src/draw/scale'

const percent = { si: 'fraction', unit: '%', scale: 0.01, offset: 0 }
const fahrenheit = { si: 'degC', unit: '°F', scale: 1 / 1.8, offset: -32 / 1.8 }

describe('numbers', () => {
  // The same as core/advise Digits writes (its tests have the same values).
  it.each([[0, '0'], [0.0312, '0.031'], [2.44, '2.4'], [9.96, '10'], [12.6, '13'], [1234.5, '1,235'], [31876, '31,900'], [-2.44, '-2.4']])('%d is written %s', (x, s) => expect(digits(x)).toBe(s))
  it('shows SI in the unit of the axis and back', () => {
    expect(show(fahrenheit, 20)).toBeCloseTo(68) // NIST SP 811, B.8: °F = 1.8 °C + 32
    expect(toSI(fahrenheit, show(fahrenheit, 12.3))).toBeCloseTo(12.3)
    expect(label(percent, 0.024)).toBe('2.4%')
  })
})

describe('axes', () => {
  it('has round ticks that lie within', () => {
    for (const [lo, hi] of [[0, 1], [0.3, 17], [-5, 5], [29_000, 33_500]] as const) {
      const t = ticks(lo, hi, 5)
      expect(t.length).toBeGreaterThan(1)
      expect(t.length).toBeLessThan(12)
      for (const x of t) { expect(x).toBeGreaterThanOrEqual(lo - 1e-9); expect(x).toBeLessThanOrEqual(hi + 1e-9) }
    }
  })
  it('holds all values and begins at zero where that is near', () => {
    expect(extent([1, 2, 3])[0]).toBe(0)
    const [lo, hi] = extent([100, 101, null, undefined])
    expect(lo).toBeLessThan(100)
    expect(hi).toBeGreaterThan(101)
    expect(extent([])).toEqual([0, 1])
    const [a, b] = extent([5])
    expect(b).toBeGreaterThan(a)
  })
})

describe('tiles', () => {
  it('takes a level that is never finer than the scale', () => {
    for (let mpp = 0.004; mpp < 60; mpp *= 1.37) {
      const l = levelOf(mpp)
      expect(levelScale(l)).toBeGreaterThanOrEqual(mpp * (1 - 1e-6))
      if (l > 0) expect(levelScale(l - 1)).toBeLessThan(mpp * (1 + 1e-6))
    }
  })
  it('finds the mark under the pointer, what went wrong first', () => {
    const t: Tile = { meta: { from_m: 0, to_m: 16, seeds: true }, of: {
      s: Int32Array.of(1000, 1150, 1150, 1000), t: Int32Array.of(1, 2, 3, 4), gap: Int32Array.of(150, 150, 150, 150),
      n: Uint16Array.of(1, 1, 1, 1), row: Uint8Array.of(7, 7, 7, 8), kind: Uint8Array.of(0, 0, 2, 0),
    } }
    expect(nearest(t, 7, 1.16, 0.05)?.kind).toBe(2)
    expect(nearest(t, 7, 1.0, 0.05)?.i).toBe(0)
    expect(nearest(t, 9, 1.0, 0.05)).toBeNull()
    expect(nearest(t, 7, 5, 0.05)).toBeNull()
  })
})

describe('columns', () => {
  it('reads what the server writes and refuses anything else', () => {
    const head = new TextEncoder().encode(JSON.stringify({ columns: [{ name: 's', type: 'i32', n: 2, at: 0 }, { name: 'k', type: 'u8', n: 1, at: 8 }], meta: { a: 1 } }).padEnd(120))
    const buf = new ArrayBuffer(8 + head.length + 16)
    new Uint8Array(buf).set([0x45, 0x56, 0x43, 0x31])
    new DataView(buf).setUint32(4, head.length, true)
    new Uint8Array(buf).set(head, 8)
    new DataView(buf).setInt32(8 + head.length, -5, true)
    new DataView(buf).setInt32(12 + head.length, 70_000, true)
    new Uint8Array(buf)[8 + head.length + 8] = 9
    const c = decode<{ a: number }>(buf)
    expect(c.meta.a).toBe(1)
    expect([...c.of['s']!]).toEqual([-5, 70_000])
    expect([...c.of['k']!]).toEqual([9])
    expect(() => decode(new ArrayBuffer(3))).toThrow()
    expect(() => decode(new ArrayBuffer(64))).toThrow()
  })
})
