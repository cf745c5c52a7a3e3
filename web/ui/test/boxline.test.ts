import { expect, test } from 'vitest'
import { tomorrow } from '../src/bring/boxline'

test('of what would tell more, the first is for tomorrow', () => {
  expect(tomorrow({ better: ['If the box can log seed by seed, switch that on.', 'Set its averaging to the shortest that it has.'] })).toBe('Tomorrow: if the box can log seed by seed, switch that on.')
  expect(tomorrow({ better: [] })).toBe('Nothing more to switch on.')
})
