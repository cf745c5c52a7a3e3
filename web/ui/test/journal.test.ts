import { expect, test } from 'vitest'
import type * as api from '../src/api'
import { entries, planterOf } from '../src/journal/journal'

const note = (id: number, time: string, taken_back = false) => ({ id, time, taken_back }) as api.Note
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
