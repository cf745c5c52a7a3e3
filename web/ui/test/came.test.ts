import { expect, test } from 'vitest'
import type * as api from '../src/api'
import { cameTo, leftOut, seen, unseen } from '../src/bring/came'

const done = (id: string, taken: number, left_out: number, more: Partial<NonNullable<api.Job['result']>> = {}): api.Job =>
  ({ id, what: 'read', state: 'done', says: '', error: '', doing: '', name: '', done: 0, total: 0, unit: 'bytes', left_s: 0, result: { says: [], sources: [], unused: [], tables: [], days: 0, taken, left_out, ...more } })

test('a reading says what it came to', () => {
  expect(cameTo(done('1', 10, 0))).toBe('10 files read, none left out.')
  expect(cameTo(done('1', 0, 13))).toBe('No file read, 13 left out.')
  expect(cameTo(done('1', 1, 2))).toBe('1 file read, 2 left out.')
  expect(cameTo({ ...done('1', 0, 0), state: 'failed', error: 'The disk is full.' })).toBe('The disk is full.')
  expect(leftOut(done('1', 3, 1))).toBe('1 file was not used')
  expect(leftOut(done('1', 3, 0, { unused: ['line 7'] }))).toBe('Something in the files was not used')
  expect(leftOut(done('1', 3, 0))).toBe('')
})

test('what was left out is told until it was seen, in this run of the program', () => {
  const jobs = [done('1', 3, 1), { ...done('2', 0, 4), what: 'settle' as const }, done('3', 2, 0)]
  expect(unseen(jobs, 'one', '')?.id).toBe('1')
  expect(unseen(jobs, 'one', seen(jobs[0]!, 'one'))).toBeUndefined()
  expect(unseen(jobs, 'two', seen(jobs[0]!, 'one'))?.id).toBe('1')
  expect(unseen([...jobs, done('10', 0, 2)], 'one', seen(jobs[2]!, 'one'))?.id).toBe('10')
  expect(unseen([...jobs, { ...done('11', 0, 0), state: 'failed' as const, error: 'x' }], 'one', seen(jobs[2]!, 'one'))?.id).toBe('11')
})
