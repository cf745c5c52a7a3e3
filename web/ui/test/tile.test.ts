// The server's tiles, read by the readers that the map library has.
import { VectorTile } from '@mapbox/vector-tile'
import { PbfReader } from 'pbf'
import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'

const at = (name: string) => new URL('../../mvt/testdata/' + name, import.meta.url)

test('every cell is read as it was written', () => {
  const want = JSON.parse(readFileSync(at('cells.json'), 'utf8')) as { Ring: [number, number][], Properties: Record<string, number | boolean> }[]
  const tile = new VectorTile(new PbfReader(readFileSync(at('cells.mvt'))))
  expect(Object.keys(tile.layers)).toEqual(['cells'])
  const l = tile.layers['cells']!
  expect([l.version, l.extent, l.length]).toEqual([2, 4096, want.length])
  for (let i = 0; i < l.length; i++) {
    const f = l.feature(i)
    expect(f.type).toBe(3)
    expect(f.properties).toEqual(want[i]!.Properties)
    expect(f.loadGeometry().map((r) => r.map((p) => [p.x, p.y]))).toEqual([want[i]!.Ring])
  }
})
