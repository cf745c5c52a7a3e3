import { describe, expect, it } from 'vitest'
import { asFile, lengthOf, ofPlace, perArea, problem, says, toSend, wayTo, widthOf, type Entry } from '../src/walk/count'
import { answered } from '../src/walk/keep'

const entry = (e: Partial<Entry> = {}): Entry => ({
  id: '1', book: 'b', at: '2026-05-20T12:00:00Z', planter: 'p', field: 'f', place: 'Pass 1', here: false, method: 'row', rows: '3,4', length: '17 ft 5 in', counted: '2',
  diameter: '', hoops: '1', plants: '62', late: '', depths: [], note: '', who: '', units: 'us', state: 'draft', tried: false, why: '', changed: 1, ...e,
})

describe('what is typed', () => {
  it('is read as lengths', () => {
    for (const s of ['17 ft 5 in', "17'5\"", '17ft 5']) expect(lengthOf(s, 'us')).toBeCloseTo((17 * 12 + 5) * 0.0254, 9)
    expect(lengthOf('17.4', 'us')).toBeCloseTo(17.4 * 0.3048, 9)
    expect(lengthOf('5,31', 'metric')).toBeCloseTo(5.31, 9)
    for (const s of ['', 'far', '-3', '1e3', '5 5']) expect(lengthOf(s, 'us')).toBeNaN()
    expect(widthOf('1 3/4', 'us')).toBeCloseTo(1.75 * 0.0254, 9)
    expect(widthOf('1/2', 'us')).toBeCloseTo(0.0127, 9)
    expect(widthOf('4,5 cm', 'metric')).toBeCloseTo(0.045, 9)
  })
  it('must be whole before it is done', () => {
    expect(problem(entry())).toBe('')
    expect(problem(entry({ plants: '' }))).toContain('Count the plants')
    expect(problem(entry({ plants: '', depths: ['2'] }))).toBe('')
    expect(problem(entry({ plants: '6.5' }))).toContain('no whole number')
    expect(problem(entry({ late: '63' }))).toContain('more late plants')
    expect(problem(entry({ length: '0' }))).toContain('no length')
    expect(problem(entry({ method: 'hoop' }))).toContain('across')
    expect(problem(entry({ method: 'hoop', diameter: '28', hoops: '0' }))).toContain('how often')
  })
})

describe('plants an acre', () => {
  // A thousandth of an acre in rows of 30 in is 43,560/1000/2.5 = 17.42 ft; 31 plants on
  // it are 31,000 an acre, 62 on two.
  it('of rows', () => expect(perArea(entry({ length: '17.424' }), 30 * 0.0254)).toBeCloseTo(31000, 0))
  // A hoop of 35.68 in has 999.9 in2, 6.94 ft2: 5 plants in it are 31,360 an acre.
  it('of hoops', () => expect(perArea(entry({ method: 'hoop', diameter: '35.68', plants: '5' }), 0.762) / 1000).toBeCloseTo(31.37, 1))
  it('is not told of what is not known', () => expect(perArea(entry({ length: '' }), 0.762)).toBeNaN())
  it('stands in words', () => expect(says(entry({ length: '17.424', late: '2', depths: ['2'] }), 0.762)).toBe('62 plants, 31,000 plants an acre, 2 late, 1 depth dug'))
})

describe('what is sent', () => {
  it('is in SI, without what was not said', () => {
    expect(toSend(entry({ length: '17.424', late: '2', depths: ['2'], note: ' wet ' }))).toEqual({ id: '1', at: '2026-05-20T12:00:00Z', planter: 'p', field: 'f', place: 'Pass 1', method: 'row', rows: '3,4', length_m: 5.3108, rows_counted: 2, plants: 62, late: 2, depths_m: [0.0508], note: 'wet', who: '' })
  })
  it('a file has all that are done', () => expect(JSON.parse(asFile([entry(), entry({ id: '2', state: 'waiting' }), entry({ id: '3', state: 'sent' })])).counts.map((c: { id: string }) => c.id)).toEqual(['2', '3']))
  it('an answer says what became of it', () => {
    expect(answered(entry({ state: 'waiting' }), { stored: ['1'] }).state).toBe('sent')
    expect(answered(entry({ state: 'waiting' }), { known: ['1'] }).state).toBe('sent')
    expect(answered(entry({ state: 'waiting' }), { refused: [{ id: '1', why: 'no such field' }] })).toMatchObject({ state: 'refused', why: 'no such field' })
    expect(answered(entry({ state: 'waiting' }), {}).state).toBe('waiting')
  })
})

it('of a place the one that stands is shown', () => {
  const all = [entry({ id: '1', state: 'sent', replaced: '2' }), entry({ id: '2', state: 'waiting', changed: 2 }), entry({ id: '3', state: 'sent', changed: 9, place: 'Pass 2' })]
  expect(ofPlace(all, 'f', 'Pass 1')?.id).toBe('2')
  expect(ofPlace([...all, entry({ id: '4' })], 'f', 'Pass 1')?.id).toBe('4')
})

// A degree of latitude is 111.2 km, of longitude at 60 degrees half of that.
it('the way to a place', () => {
  expect(wayTo({ lat: 60, lon: 0 }, { lat: 60.001, lon: 0 }, 'metric')).toBe('111 m to the north')
  expect(wayTo({ lat: 60, lon: 0 }, { lat: 60, lon: -0.002 }, 'metric')).toBe('111 m to the west')
  expect(wayTo({ lat: 60, lon: 0 }, { lat: 60.001, lon: 0.002 }, 'us')).toBe('516 ft to the north-east')
})
