import { expect, test } from 'vitest'
import type * as api from '../src/api'
import { moved } from '../src/journal/edit'
import { byDay } from '../src/changed/changed'
import { tableOf } from '../src/journal/followed'
import { atOf, entries, planterOf, sortOfEntry, timesOf } from '../src/journal/journal'

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

test('times of an earlier day: before the first pass, the longest stop, after the last', () => {
  const ps = [['13:00', '13:20'], ['13:21', '13:40'], ['14:40', '15:00']].map(([a, b]) => ({ start: `2026-05-02T${a}:00Z`, end: `2026-05-02T${b}:00Z` }))
  const got = timesOf(ps, 'America/Chicago', (t) => t.slice(11, 16))
  expect(got.map(([t]) => t)).toEqual(['2026-05-02 07:59', '2026-05-02 08:41', '2026-05-02 10:01'])
  expect(got[1]![1]).toBe('longest stop, 13:40')
  expect(timesOf([], 'UTC', String)).toEqual([])
})

test('a typed time is of the day that is shown, unless it says its own', () => {
  expect(atOf('2:05 pm', '2026-05-02', '2026-05-04')).toBe('2026-05-02 2:05 pm')
  expect(atOf('at 14:05', '2026-05-02', '2026-05-04')).toBe('2026-05-02 14:05')
  expect(atOf('2:05 pm', '2026-05-04', '2026-05-04')).toBe('2:05 pm')
  for (const t of ['10 min ago', 'may 3 2:05 pm', 'yesterday 5 pm', '']) expect(atOf(t, '2026-05-02', '2026-05-04')).toBe(t)
})

test('what followed as a table: each reason once, what told all said once', () => {
  const told = (measure: string, difference: string, verdict: string, from = '8 rows against 8') => ({ told: { measure, before: '', after: '', difference, range: '', from, verdict } })
  const t = tableOf({ effects: [told('Skips', '+1 point', 'more'), told('Doubles', '', 'cannot tell: x', ''), told('Trash', '', 'cannot tell: x', ''), {}] as unknown as api.Followed['effects'] })
  expect(t.lines.map((l) => l.measure)).toEqual(['Skips'])
  expect(t.by).toBe('8 rows against 8')
  expect(t.not).toEqual([{ of: ['Doubles', 'Trash'], why: 'cannot tell: x' }])
})

test('settings that were only set stand by day', () => {
  const i = (day: string, says: string) => ({ day, label: day, says }) as api.SettingItem
  expect(byDay([i('b', '1'), i('b', '2'), i('a', '3')]).map((d) => d.items.length)).toEqual([2, 1])
})
