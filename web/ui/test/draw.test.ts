import { describe, expect, it } from 'vitest'
import { decode } from '../src/api'
import { bandsOf, between, levelOf, levelScale, nearest, padOf, paint, stepOf, type Ink, type Tile } from '../src/draw/ribbon'
import { itemsOf } from '../src/ribbon/key'
import { digits, extent, label, round, show, stretchSays, ticks } from '../src/draw/scale'
import type * as api from '../src/api'
import { signsOf } from '../src/ribbon/canvas'
import { stepTo } from '../src/ribbon/ribbon'
import { gaps } from '../src/draw/strip'
import { alone, spoken } from '../src/logbook/prices'
import { csv } from '../src/parts'
import type { Settings } from '../src/api'

const percent = { si: 'fraction', unit: '%', scale: 0.01, offset: 0 }
const fahrenheit = { si: 'degC', unit: '°F', scale: 1 / 1.8, offset: -32 / 1.8 }

describe('numbers', () => {
  // The same as core/advise Digits writes (its tests have the same values).
  it.each([[0, '0'], [0.0312, '0.031'], [2.44, '2.4'], [9.96, '10'], [12.6, '13'], [1234.5, '1,235'], [31876, '31,900'], [-2.44, '-2.4']])('%d is written %s', (x, s) => expect(digits(x)).toBe(s))
  it('shows SI in the unit of the axis', () => {
    expect(show(fahrenheit, 20)).toBeCloseTo(68) // NIST SP 811, B.8: °F = 1.8 °C + 32
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

describe('round ends', () => {
  it('hold what is shown, are equally far apart and few', () => {
    for (const [lo, hi] of [[2.77, 3.3], [6.2, 7.4], [0, 0.21], [-30, 410], [5, 5], [29_350, 33_900], [1e-5, 3e-5]] as const) {
      for (const n of [1, 2, 3, 5]) {
        const r = round(lo, hi, n), a = r[0]!, b = r[r.length - 1]!
        expect(r.length).toBeGreaterThan(1)
        expect(r.length).toBeLessThanOrEqual(n + 1)
        expect(a).toBeLessThanOrEqual(lo + 1e-12)
        expect(b).toBeGreaterThanOrEqual(hi - 1e-9)
        const step = r[1]! - a
        r.forEach((x, i) => expect(x).toBeCloseTo(a + i * step, 9))
      }
    }
    expect(round(6.2, 7.4, 3)).toEqual([6, 6.5, 7, 7.5]) // by hand
  })
})

// marked makes a tile of marks that stand by row.
function marked(marks: { row: number, s: number, kind: number, n?: number, gap?: number, t?: number }[], seeds: boolean, to = 16): Tile {
  return { meta: { from_m: 0, to_m: to, seeds }, of: {
    s: Int32Array.from(marks, (m) => m.s), t: Int32Array.from(marks, (m) => m.t ?? 0), gap: Int32Array.from(marks, (m) => m.gap ?? 150),
    n: Uint16Array.from(marks, (m) => m.n ?? 1), row: Uint8Array.from(marks, (m) => m.row), kind: Uint8Array.from(marks, (m) => m.kind),
  } }
}

describe('marks', () => {
  it('one, five and twenty are of different steps, and no more is never less', () => {
    expect(new Set([1, 5, 20].map(stepOf)).size).toBe(3)
    for (let n = 1; n < 100; n++) expect(stepOf(n + 1)).toBeGreaterThanOrEqual(stepOf(n))
  })
  it('the bar of two seeds 15 cm apart stays within the picture at every scale', () => {
    for (let level = 0; level <= 3; level++) expect(padOf(levelScale(level)) * levelScale(level)).toBeGreaterThan(0.15)
  })
  it.each([[36, 1000], [36, 20], [3, 30_000]])('%d rows of %d are parted into bands that hold every mark once, none too long', (rows, each) => {
    const t = marked(Array.from({ length: rows * each }, (_, i) => ({ row: Math.floor(i / each) + 1, s: i % each, kind: 0 })), true)
    const bands = bandsOf(t, rows)
    let at = 0, row = 1, wrong = 0
    for (const b of bands) {
      expect(b.from).toBe(at)
      expect(b.to - b.from).toBeLessThanOrEqual(4000)
      expect([row, row + 1]).toContain(b.row + 1) // the same row again, or the next
      for (let i = b.from; i < b.to; i++) if (t.of['row']![i]! < b.row || t.of['row']![i]! >= b.row + b.rows) wrong++
      at = b.to
      row = b.row + b.rows
    }
    expect([at, row, wrong]).toEqual([rows * each, rows + 1, 0])
  })
  it('of an empty tile are one empty band', () => expect(bandsOf(marked([], true), 12)).toMatchObject([{ row: 1, rows: 12, from: 0, to: 0 }]))
  it('are drawn by number in size and in weight', () => {
    const drawn: { r: number, w: number }[] = []
    const rings: number[] = []
    const g = new Proxy({ lineWidth: 0 } as Record<string, unknown>, { get: (o, k) => k === 'arc' ? (_x: number, _y: number, r: number) => rings.push(r) : k === 'stroke' ? () => { for (const r of rings.splice(0)) drawn.push({ r, w: o['lineWidth'] as number }) } : k in o ? o[k as string] : () => {}, set: (o, k, v) => { o[k as string] = v; return true } })
    const doc = globalThis as { document?: unknown }
    doc.document = { createElement: () => ({ getContext: () => g, width: 0, height: 0 }) }
    const t = marked([1, 5, 20].map((n, i) => ({ row: 1, s: 2000 + 4000 * i, kind: 1, n })), false)
    paint(t, bandsOf(t, 1)[0]!, 20, 0.1, 1, { ink: '#000', paper: '#fff' } as Ink)
    delete doc.document
    expect(drawn).toHaveLength(3)
    for (let i = 1; i < 3; i++) { expect(drawn[i]!.r).toBeGreaterThan(drawn[i - 1]!.r * 1.2); expect(drawn[i]!.w).toBeGreaterThan(drawn[i - 1]!.w * 1.4) }
  })
  it('time lies between the seeds around a place, of that row alone', () => {
    const t = marked([{ row: 1, s: 1000, kind: 0, t: 400 }, { row: 1, s: 1100, kind: 1, t: 430 }, { row: 1, s: 1200, kind: 0, t: 500 }, { row: 2, s: 1000, kind: 0, t: 9000 }], true)
    expect(between(t, 1, 1.1)).toBeCloseTo(450) // half way from 400 to 500 ms
    expect(between(t, 1, 1.0)).toBe(400)
    expect(between(t, 1, 1.3)).toBeNull()
    expect(between(t, 2, 1.1)).toBeNull()
    expect(between({ ...t, meta: { ...t.meta, seeds: false } }, 1, 1.1)).toBeNull()
  })
})

describe('from finding to finding', () => {
  const at = (min: number) => `2026-05-02T14:${String(min).padStart(2, '0')}:00Z`
  const step = (finding: string, min: number) => ({ pass: 'p' + min, finding, row: 0, since: at(min) })
  const steps = [step('a', 10), step('b', 20), step('c', 20), step('d', 40)]
  const on = (start: number, ...findings: [string, number][]) => ({ steps, start: at(start), findings: findings.map(([id, min]) => ({ id, since: at(min) })) }) as unknown as api.Pass
  it('goes from each to another, whatever pass it is seen on, and ends', () => {
    const p = on(25, ['b', 20], ['c', 20])
    const way: string[] = []
    for (let x = stepTo(p, 'a', 1); x; x = stepTo(p, x.finding, 1)) way.push(x.finding)
    expect(way).toEqual(['b', 'c', 'd'])
    for (let x = stepTo(p, 'd', -1); x; x = stepTo(p, x.finding, -1)) way.push(x.finding)
    expect(way).toEqual(['b', 'c', 'd', 'c', 'b', 'a'])
  })
  it('begins with those on the pass, else with the nearest in time', () => {
    expect(stepTo(on(25, ['b', 20], ['c', 20]), '', 1)?.finding).toBe('b')
    expect(stepTo(on(25, ['b', 20], ['c', 20]), '', -1)?.finding).toBe('c')
    expect(stepTo(on(25), '', 1)?.finding).toBe('d')
    expect(stepTo(on(25), '', -1)?.finding).toBe('c')
    expect(stepTo(on(50), '', 1)).toBeNull()
  })
  it('from one that the worklist does not have it goes by its time', () => {
    expect(stepTo(on(25, ['guess', 15], ['b', 20]), 'guess', 1)?.finding).toBe('b')
    expect(stepTo(on(25, ['guess', 15], ['b', 20]), 'guess', -1)?.finding).toBe('a')
  })
})

describe('stretches that skip', () => {
  const pass = (values: (number | null)[][], by_row = true, grade = 'B') => ({ grade, places: false, gaps: [], tracks: [{ measure: 'skips', by_row, values, s_m: values[0]!.map((_, k) => 15 * k + 7.5) }] }) as unknown as api.Pass
  it('the same in every row is one sign for all rows, else each has its own', () => {
    expect(signsOf(pass([[0, 0.04], [0, 0.04], [0, 0.04]])).map((s) => s.row)).toEqual([0])
    expect(signsOf(pass([[0, 0.04], [0, 0.05], [0, 0.04]])).map((s) => s.row)).toEqual([1, 2, 3])
    expect(signsOf(pass([[0, 0.04], [0, 0.04], [0, null]])).map((s) => s.row)).toEqual([1, 2])
    expect(signsOf(pass([[0, 0.04]], false)).map((s) => s.row)).toEqual([0])
    expect(signsOf(pass([[0, 0.014], [0, 0.001], [0, 0]]))).toEqual([])
  })
  it('ground without a position is no sign of any row', () => {
    const p = { ...pass([[0, 1, 0.8, 0.05], [0, 1, 0.82, 0.05], [0, 1, 0.8, 0.04]], true, 'A'), gaps: [{ from_m: 14.5, to_m: 42, seconds: 12 }] }
    expect(signsOf(p).map((s) => [s.row, s.m])).toEqual([[1, 52.5], [2, 52.5], [3, 52.5]])
  })
  it('the first one below seed times is told apart', () => {
    expect(signsOf(pass([[0.2, 0.2], [0.1, 0.1], [0, 0]])).map((s) => s.start)).toEqual([true, true, false, false])
    expect(signsOf(pass([[0.2, 0.2], [0.1, 0.1], [0, 0]], true, 'A')).every((s) => !s.start)).toBe(true)
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

describe('strips and tables', () => {
  it('gives what lies between runs', () => {
    expect(gaps([0, 6, 16, 20], 0, 20)).toEqual([[6, 16]])
    expect(gaps([], 2, 9)).toEqual([[2, 9]])
    expect(gaps([3, 5], 0, 8)).toEqual([[0, 3], [5, 8]])
  })
  // RFC 4180, section 2, rules 5 to 7.
  it('writes CSV', () => expect(csv([['a', 'b,c'], ['say "x"', 'two\nlines']])).toBe('a,"b,c"\r\n"say ""x""","two\nlines"\r\n'))
})

describe('prices', () => {
  const d = { currency: 'USD', grain: '4.50/bu', yield_goal: '11t/ha', seed: '300/80000', left_to_plant: '', bare: { grain: '/bu', yield_goal: 'bu/ac', seed: '/80000', left_to_plant: 'ac' } } as Settings
  it('leaves away the unit that stands beside the box', () => {
    expect(alone('grain', d)).toBe('4.50')
    expect(alone('yield_goal', d)).toBe('11t/ha')
    expect(alone('seed', d)).toBe('300')
    expect(alone('left_to_plant', d)).toBe('')
  })
  it('says what a number is in', () => {
    expect(spoken('grain', d)).toBe('USD a bushel')
    expect(spoken('seed', d)).toBe('USD for 80,000 seeds')
    expect(spoken('left_to_plant', d)).toBe('ac')
  })
})

it('stretches are said in the units of the logbook', () => {
  expect(stretchSays('us')).toBe('about 50 ft')
  expect(stretchSays('metric')).toBe('15 m')
  const p = { grade: 'B', places: false, gaps: [], findings: [], tracks: [] } as unknown as Parameters<typeof itemsOf>[0]
  const says = (units: 'us' | 'metric') => itemsOf(p, [], '', units).map((i) => i.says).join('; ')
  expect(says('us')).toContain('over about 50 ft')
  expect(says('metric')).toContain('over 15 m')
  expect(says('metric')).not.toMatch(/\bft\b/)
})
