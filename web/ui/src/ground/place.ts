// Where the ground lies on the screen, as the map will show it, and what is shown
// until the map is there; pure.
import type { Ground as View } from '../api'
import type { PatchKind } from '../draw/patches'
import { parse } from './colour'

export interface Camera { lat: number, lon: number, zoom: number }

// A box of the map's square, 0 to 1 eastward and southward: x0, y0, x1, y1.
export type Box = [number, number, number, number]

// A frame is what is seen: the middle of w x h pixels in that square, and how many
// pixels its side is.
export interface Frame { x: number, y: number, scale: number, w: number, h: number }

// margin is left around what is fitted, in pixels; nearest is how near it is shown.
export const margin = 28, nearest = 18, farthest = 3
const side = (zoom: number) => 512 * 2 ** zoom // the map's whole world at a zoom, in pixels

// project puts a place into the square.
// Source: spherical Mercator, EPSG guidance note 7-2, section 3.2.2.
export const project = (lon: number, lat: number): [number, number] => [lon / 360 + 0.5, 0.5 - Math.asinh(Math.tan(lat * Math.PI / 180)) / (2 * Math.PI)]
const back = (x: number, y: number): [number, number] => [(x - 0.5) * 360, Math.atan(Math.sinh((0.5 - y) * 2 * Math.PI)) * 180 / Math.PI]

// boxOf gives the box of west, south, east and north.
export function boxOf([west, south, east, north]: number[]): Box {
  return [...project(west!, north!), ...project(east!, south!)]
}

// fitted is the frame that shows a box, with so many pixels left around it.
export function fitted([x0, y0, x1, y1]: Box, w: number, h: number, free = margin): Frame {
  const scale = Math.min((w - 2 * free) / (x1 - x0), (h - 2 * free) / (y1 - y0), side(nearest))
  return { x: (x0 + x1) / 2, y: (y0 + y1) / 2, scale: Math.max(scale, side(farthest)), w, h }
}

// aimed is the frame of a camera.
export function aimed(c: Camera, w: number, h: number): Frame {
  const [x, y] = project(c.lon, c.lat)
  return { x, y, scale: side(c.zoom), w, h }
}

// bounds gives west, south, east and north of all that a frame shows.
export function bounds(f: Frame): number[] {
  const dx = f.w / 2 / f.scale, dy = f.h / 2 / f.scale
  const [west, north] = back(f.x - dx, f.y - dy), [east, south] = back(f.x + dx, f.y + dy)
  return [west, south, east, north]
}

// at gives where a place of the square lies in a frame.
export const at = (f: Frame, x: number, y: number): [number, number] => [f.w / 2 + (x - f.x) * f.scale, f.h / 2 + (y - f.y) * f.scale]

// wanted asks for the picture of w x h pixels as the map will show them: with a
// camera of just what it shows, else of what is fitted between the margins.
export function wanted(c: Camera | null, w: number, h: number): { width: number, height: number, box?: string, margin?: number, nearest?: number } {
  const pixels = (n: number) => Math.round(Math.max(16, Math.min(2048, n))) // what the server makes
  if (c) return { width: pixels(w), height: pixels(h), box: bounds(aimed(c, w, h)).map((x) => x.toFixed(9)).join(',') }
  return { width: pixels(w), height: pixels(h), margin, nearest }
}

// seen gives the bounds of what is looked at: the piece of ground or the way of a
// finding, or else all; at the opening what the server shows first.
export function seen(v: Pick<View, 'bounds' | 'opens'> & { findings: Pick<View['findings'][number], 'id' | 'way' | 'bounds'>[] }, finding: string, opening: boolean): number[] {
  const found = v.findings.find((f) => f.id === finding)
  if (found?.bounds.length === 4) return found.bounds
  const ways = (found?.way.coordinates ?? []) as [number, number][][]
  const ps = ways.flat()
  if (ps.length === 0) return opening ? v.opens : v.bounds
  const lons = ps.map((p) => p[0]), lats = ps.map((p) => p[1])
  return [Math.min(...lons), Math.min(...lats), Math.max(...lons), Math.max(...lats)]
}

export const patchKinds = ['left', 'twice'] as const

// byItself tells whether a kind of ground is drawn without being asked for: it
// shows the finding that is shown.
export const byItself = (k: PatchKind, found: { left: boolean, twice: boolean } | undefined): boolean => found?.[k] ?? false

// shownOver gives what is drawn over the cells: as the address says, or else as
// the finding wants it.
export const shownOver = (q: URLSearchParams, found: { left: boolean, twice: boolean } | undefined): PatchKind[] =>
  patchKinds.filter((k) => q.has(k) ? q.get(k) !== '0' : byItself(k, found))

// mostOutlined is how many passes are worth their time before the map is there.
const mostOutlined = 200

// outline gives what lies on the ground as paths in a frame's pixels.
export function outline(v: { boundaries: { features: { geometry: { coordinates?: unknown } }[] }, passes: { features: { geometry: { coordinates?: unknown } }[] } }, f: Frame): { fields: string, passes: string } {
  const line = (ps: [number, number][]) => ps.length > 1 ? 'M' + ps.map(([lon, lat]) => at(f, ...project(lon, lat)).map((x) => x.toFixed(1)).join(' ')).join('L') : ''
  return {
    fields: v.boundaries.features.flatMap((f) => (f.geometry.coordinates as [number, number][][][]).flat()).map((r) => line(r) + 'Z').join(''),
    passes: v.passes.features.length > mostOutlined ? '' : v.passes.features.map((f) => line(f.geometry.coordinates as [number, number][])).join(''),
  }
}

// few marks a pixel of a picture that is hatched, beside its class (the server's
// fewBit).
const few = 0x80

// paint gives the pixels of a picture in the colours of its classes, hatched with
// a square that repeats; where nothing was planted they stay clear.
export function paint(classes: Uint8Array, w: number, cols: string[], hatch: { width: number, data: Uint8ClampedArray }): Uint8ClampedArray<ArrayBuffer> {
  const out = new Uint8ClampedArray(classes.length * 4)
  const rgb = cols.map(parse)
  for (let i = 0; i < classes.length; i++) {
    const c = classes[i]!
    const col = rgb[(c & ~few) - 1]
    if (!col) continue
    const k = 4 * i
    out[k + 3] = 255
    let a = 0, h = 0
    if (c & few) {
      h = 4 * (Math.floor(i / w) % hatch.width * hatch.width + i % w % hatch.width)
      a = hatch.data[h + 3]! / 255
    }
    for (let j = 0; j < 3; j++) out[k + j] = a > 0 ? col[j]! + (hatch.data[h + j]! - col[j]!) * a : col[j]!
  }
  return out
}
