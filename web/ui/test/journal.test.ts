import { expect, test } from 'vitest'
import type * as api from '../src/api'
import { moved } from '../src/journal/edit'
import { entries, planterOf, sortOfEntry } from '../src/journal/journal'

const note = (id: number, time: string, taken_back = false) => ({ id, time, taken_back, logged: [] as api.BoxLine[], lines: [{ what: 'setting' }] }) as unknown as api.Note
const box = (source: string, time: string) => ({ source, time }) as api.BoxLine
const day = {
  notes: [note(2, '2026-05-02T19:40:00Z'), note(1, '2026-05-02T16:00:00Z', true)],
  boxes: [box('journal', '2026-05-02T19:59:00Z'), box('machine', '2026-05-02T15:54:00Z')],
}

test('notes and what boxes logged stand in one line, newest first', () => {
  const names = (...a: Parameters<typeof entries>) => entries(...a).map((e) => e.note ? String(e.note.id) : e.box!.source)
  expect(names(day, 'all', false)).toEqual(['journal', '2', 'machine'])
  expect(names(day, 'all', true)).toEqual(['journal', '2', '1', 'machine'])
  expect(names(day, 'mine', true)).toEqual(['2', '1'])
  expect(names(day, 'boxes', true)).toEqual(['journal', 'machine'])
  expect(new Set(entries(day, 'all', true).map((e) => e.key)).size).toBe(4)
})

test('a note is about the planter of the last day, where there are several', () => {
  const days = [{ planter: 'b' }, { planter: 'a' }] as api.Book['days']
  expect(planterOf({ planters: ['a', 'b'], days })).toBe('a')
  expect(planterOf({ planters: ['a', 'b'], days: days.slice(0, 1) })).toBe('b')
  expect(planterOf({ planters: ['a', 'b'], days: [] })).toBe('a')
  expect(planterOf({ planters: ['a'], days })).toBe('')
  expect(planterOf(null)).toBe('')
})

test('a line that a box saw as well stands at the time of the box', () => {
  const seen = { ...note(3, '2026-05-02T19:40:00Z'), logged: [box('air', '2026-05-02T15:00:00Z')] } as api.Note
  expect(entries({ notes: [seen], boxes: day.boxes }, 'all', false).map((e) => e.note?.id ?? e.box!.source)).toEqual(['journal', 'machine', 3])
})

test('lines are sorted by what they are of', () => {
  const of = (what: string) => sortOfEntry({ time: 0, key: '', box: { what } as api.BoxLine })
  expect(['target', 'level', 'setting', 'refill', 'dig', 'count', 'lot', 'fix', 'remark', 'else'].map(of)).toEqual(['settings', 'settings', 'settings', 'fills', 'digs', 'digs', 'lots', 'fixes', 'remarks', 'remarks'])
  expect(sortOfEntry({ time: 0, key: '', note: note(1, '') })).toBe('settings')
})

test('a time some minutes away is written in the zone of the logbook', () => {
  expect(moved('2026-05-02T19:05:00Z', -5, 'America/Chicago')).toBe('2026-05-02 14:00')
  expect(moved('2026-05-02T04:58:00Z', 5, 'America/Chicago')).toBe('2026-05-02 00:03')
})
