import { expect, test } from 'vitest'
import { told } from '../src/recipe/recipe'
import { runs } from '../src/recipe/table'
import { names } from '../src/recipe/waiting'

const column = (offer: number) => ({ name: 'c', unit: '', offer })
const offers = (...counts: number[]) => counts.map((count) => ({ count })) as Parameters<typeof runs>[0]['offers']

test('of a pattern the first two columns are shown', () => {
  const of = [0, 1, 1, 1, 1, 1, 2].map(column)
  expect(runs({ columns: of, offers: offers(1, 5, 1) })).toEqual([
    { offer: 0, at: [0], skipped: 0, first: true },
    { offer: 1, at: [1, 2], skipped: 0, first: true },
    { offer: -1, at: [], skipped: 3, first: false },
    { offer: 2, at: [6], skipped: 0, first: true },
  ])
})

test('patterns that alternate are chosen for where they come first', () => {
  const of = [0, 1, 0, 1, 0, 1, 0, 1].map(column)
  const got = runs({ columns: of, offers: offers(4, 4) })
  expect(got.map((r) => r.first)).toEqual([true, true, false, false, false])
  expect(got.at(-1)).toEqual({ offer: -1, at: [], skipped: 4, first: false })
})

test('every column is shown or counted, once', () => {
  for (let n = 1; n < 40; n++) {
    const of = Array.from({ length: n }, (_, i) => column((i * 7) % 5))
    const counts = [0, 1, 2, 3, 4].map((k) => of.filter((c) => c.offer === k).length)
    const got = runs({ columns: of, offers: offers(...counts) })
    expect(got.reduce((k, r) => k + r.at.length + r.skipped, 0)).toBe(n)
  }
})

test('of many names the first are told', () => {
  expect(told(['Force'])).toBe('Force')
  expect(told(['a', 'b', 'c', 'd'])).toBe('a, b, c, d')
  expect(told(['a', 'b', 'c', 'd', 'e'])).toBe('a, b, c and 2 more')
  expect(names({ names: ['stick'], files: 31 })).toBe('stick (31 files in all)')
  expect(names({ names: ['a.csv', 'b.csv'], files: 2 })).toBe('a.csv, b.csv')
})
