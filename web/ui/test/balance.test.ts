import { expect, test } from 'vitest'
import { side } from '../src/draw/panels'

test('a word stands beside its line and stays in the drawing', () => {
  expect(side(100, 600, 62)).toBe('start')
  expect(side(590, 600, 62)).toBe('end')
  expect(side(532, 600, 62)).toBe('start')
})
