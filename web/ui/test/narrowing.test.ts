import { describe, expect, it } from 'vitest'
import { apart, marks } from '../src/draw/narrowing'

describe('a check-back drawn', () => {
  it('marks round counts in equal ratios', () => {
    expect(marks(95, 2400)).toEqual([100, 200, 500, 1000, 2000])
    expect(marks(1, 1)).toEqual([1])
  })
  it('keeps labels apart and above the foot', () => {
    const of = [{ y: 90 }, { y: 95 }, { y: 96 }]
    apart(of, 17, 120)
    expect(of.map((o) => o.y)).toEqual([86, 103, 120])
  })
})
