import { expect, test } from 'vitest'
import { without } from '../src/logbook/prices'

test('what was sent is no longer typed, and what was typed since is', () => {
  const limit = (most: string) => [{ of: 'ground_speed', label: 'ground speed', least: '', most, unit: 'mph' }]
  expect(without({ grain: '5', crop: 'soybeans' }, { grain: '5' })).toEqual({ crop: 'soybeans' })
  expect(without({ grain: '6' }, { grain: '5' })).toEqual({ grain: '6' })
  expect(without({ limits: limit('5') }, { limits: limit('5') })).toEqual({})
  expect(without({ limits: limit('6') }, { limits: limit('5') })).toEqual({ limits: limit('6') })
  expect(without({}, { grain: '5' })).toEqual({})
})
