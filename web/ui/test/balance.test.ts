import { expect, test } from 'vitest'
import { side } from '../src/draw/panels'
import { apart } from '../src/draw/scale'

test('a word stands beside its line and stays in the drawing', () => {
  expect(side(100, 600, 62)).toBe('start')
  expect(side(590, 600, 62)).toBe('end')
  expect(side(532, 600, 62)).toBe('start')
})

test('two marks of one axis never read the same', () => {
  expect(apart([10, 20])).toEqual(['10', '20'])
  expect(apart([0.13, 0.14])).toEqual(['0.13', '0.14'])
  expect(apart([14.2, 14.4])).toEqual(['14.2', '14.4'])
  expect(apart([1.02, 1.04, 1.06])).toEqual(['1.02', '1.04', '1.06'])
  expect(apart([12])).toEqual(['12'])
})
