// The ribbon: rows as lanes, every seed a tick, a place without a seed an open
// ring, two seeds in one place joined ticks. Tiles of marks come from the server
// and are painted once into pictures of their own, so that panning only moves
// pictures. Pure but for the canvas it is handed.
import type { Columns } from '../api'

export interface TileHead { from_m: number, to_m: number, seeds: boolean }
export type Tile = Columns<TileHead>

export const tilePixels = 512
export const seedLevel = 3
export const maxLevel = 14
export const levelScale = (level: number) => 2 ** level / 256 // metres a pixel

// levelOf gives the level whose tiles are drawn at a scale: never finer than it,
// so that marks that the server kept apart stay apart.
export const levelOf = (mpp: number): number => Math.max(0, Math.min(maxLevel, Math.ceil(Math.log2(mpp * 256) - 1e-9)))
export const tileMetres = (level: number) => tilePixels * levelScale(level)

export interface Ink { ink: string, paper: string, line: string, soft: string, accent: string, band: string, faint: string, wash: string, edge: string }

export function inkOf(el: Element): Ink {
  const s = getComputedStyle(el)
  const v = (n: string) => s.getPropertyValue('--' + n).trim()
  return { ink: v('ink'), paper: v('paper'), line: v('line'), soft: v('soft'), accent: v('accent'), band: v('band'), faint: v('faint'), wash: v('wash'), edge: v('edge') }
}

type G = CanvasRenderingContext2D

// padOf is how far marks reach over the edge of their tile, in pixels: rings, and
// from near the bar of two seeds, which are less than 20 cm apart.
export const padOf = (mpp: number): number => Math.ceil(Math.max(9, 0.2 / mpp))

// How a mark looks that stands for n: larger and heavier by steps of two, so that
// one, five and twenty differ at a glance, in size and in weight.
const steps = [{ n: 1, r: 2.6, w: 1.2 }, { n: 2, r: 3.3, w: 1.5 }, { n: 4, r: 4.3, w: 2 }, { n: 8, r: 5.3, w: 2.9 }, { n: 16, r: 6.2, w: 4 }]
export const stepOf = (n: number): number => { let k = steps.length - 1; while (k > 0 && n < steps[k]!.n) k--; return k }

// Measures of the marks in a lane.
const halfOf = (lane: number) => Math.min(6.5, lane * 0.36)
const scaleOf = (lane: number) => Math.min(1, lane / 17)

// rings draws places without a seed: x, y and how many each stands for; near, all
// are alike. Dashed ones are not to be taken at their word.
export function rings(g: G, at: { x: number, y: number, n: number }[], lane: number, near: boolean, ink: Ink, dashed = false) {
  g.strokeStyle = ink.ink
  g.fillStyle = ink.paper
  if (dashed) g.setLineDash([2, 2])
  for (let k = 0; k < steps.length; k++) {
    const r = near ? Math.min(4.8, lane * 0.3) : steps[k]!.r * scaleOf(lane)
    g.lineWidth = near ? 1.7 : dashed ? 1.2 : steps[k]!.w * scaleOf(lane)
    const some = at.filter((a) => (near ? 0 : stepOf(a.n)) === k)
    for (let i = 0; i < some.length; i += 64) { // long paths take longer than their parts
      g.beginPath()
      for (const a of some.slice(i, i + 64)) { g.moveTo(a.x + r, a.y); g.arc(a.x, a.y, r, 0, 2 * Math.PI) }
      g.fill()
      g.stroke()
    }
  }
  g.setLineDash([])
}

// tick draws a seed.
export function tick(g: G, x: number, y: number, lane: number) {
  const half = halfOf(lane)
  g.fillRect(x - 0.75, y - half, 1.5, 2 * half)
}

// joint draws the bar under two seeds d pixels apart, of which the second lies at x.
export function joint(g: G, x: number, y: number, lane: number, d: number) {
  g.fillRect(x - d - 0.8, y + halfOf(lane) + 0.6, d + 1.6, 1.8)
}

// pair draws from afar n times two seeds in one place.
export function pair(g: G, x: number, y: number, lane: number, n: number) {
  const s = steps[stepOf(n)]!, k = scaleOf(lane)
  const h = Math.min(halfOf(lane), (0.75 * s.r + 2.2) * k), w = (0.3 + 0.55 * s.w) * k, d = (1.6 + 0.28 * s.r + w / 2) * k
  g.fillRect(x - d - w / 2, y - h, w, 2 * h)
  g.fillRect(x + d - w / 2, y - h, w, 2 * h)
  g.fillRect(x - d - w / 2, y + h - w / 2, 2 * d + w, Math.max(1.3, w))
}

// hole draws ground without seed, as long as it is.
export function hole(g: G, x0: number, x1: number, y: number, lane: number, ink: Ink) {
  const h = Math.min(5, lane * 0.3)
  g.fillStyle = ink.paper
  g.fillRect(x0, y - h, x1 - x0, 2 * h)
  g.strokeStyle = ink.ink
  g.lineWidth = 1.4
  g.beginPath()
  g.moveTo(x0, y - h)
  g.lineTo(x1, y - h)
  g.moveTo(x0, y + h)
  g.lineTo(x1, y + h)
  g.stroke()
}

// across draws one mark over all rows: what shows the same in every one.
export function across(g: G, x: number, y0: number, y1: number, n: number, ink: Ink) {
  const s = steps[stepOf(n)]!
  g.beginPath()
  g.roundRect(x - s.r, y0, 2 * s.r, y1 - y0, s.r)
  g.fillStyle = ink.paper
  g.fill()
  g.strokeStyle = ink.ink
  g.lineWidth = s.w
  g.stroke()
}

// bracket draws where a finding lies: the one that is looked at, one of the
// worklist, or (broken) one that it does not have.
export function bracket(g: G, x0: number, x1: number, y: number, kind: 'here' | 'listed' | 'other', ink: Ink) {
  g.strokeStyle = kind === 'here' ? ink.accent : kind === 'listed' ? ink.soft : ink.edge
  g.lineWidth = kind === 'here' ? 2.6 : kind === 'listed' ? 1.5 : 1.1
  if (kind === 'other') g.setLineDash([3, 3])
  g.beginPath()
  g.moveTo(x0, y + 5)
  g.lineTo(x0, y)
  g.lineTo(x1, y)
  g.lineTo(x1, y + 5)
  g.stroke()
  g.setLineDash([])
}

// hatch shades where nothing is known.
export function hatch(g: G, x0: number, x1: number, y0: number, y1: number, ink: Ink) {
  g.save()
  g.beginPath()
  g.rect(x0, y0, x1 - x0, y1 - y0)
  g.clip()
  g.strokeStyle = ink.edge
  g.lineWidth = 1
  g.beginPath()
  const h = y1 - y0
  for (let x = Math.floor((x0 - h) / 6) * 6; x < x1; x += 6) { g.moveTo(x, y1); g.lineTo(x + h, y0) }
  g.stroke()
  g.restore()
}

// over are pixels of a band above its first lane and below its last.
const over = 3
// bandMarks is about how many marks are painted at once: more would make a frame long.
const bandMarks = 4000

export interface Band { row: number, rows: number, from: number, to: number, img: HTMLCanvasElement | null }

// bandsOf parts a tile's marks, which stand by row, into bands of rows to be
// painted one after another.
export function bandsOf(t: Tile, rows: number): Band[] {
  const row = t.of['row'] as Uint8Array
  const out: Band[] = []
  let band: Band = { row: 1, rows: 0, from: 0, to: 0, img: null }
  for (let r = 1, i = 0; r <= rows; r++) {
    const from = i
    while (i < row.length && row[i]! <= r) i++
    if (band.rows > 0 && i - band.from > bandMarks) { out.push(band); band = { row: r, rows: 0, from, to: from, img: null } }
    band.rows++
    band.to = i
    while (band.to - band.from > bandMarks) { // more in one row: its bands lie upon each other
      out.push({ ...band, to: band.from + bandMarks })
      band = { row: r, rows: 1, from: band.from + bandMarks, to: i, img: null }
    }
  }
  out.push(band)
  return out
}

// paint makes the picture of a band for lanes of a height at a scale.
export function paint(t: Tile, b: Band, lane: number, mpp: number, dpr: number, ink: Ink): void {
  const pad = padOf(mpp)
  const c = document.createElement('canvas')
  c.width = Math.ceil((Math.ceil((t.meta.to_m - t.meta.from_m) / mpp) + 2 * pad) * dpr)
  c.height = Math.ceil((b.rows * lane + 2 * over) * dpr)
  const g = c.getContext('2d')!
  g.scale(dpr, dpr)
  const { s, kind, row, n, gap } = t.of as { s: Int32Array, kind: Uint8Array, row: Uint8Array, n: Uint16Array, gap: Int32Array }
  const from = t.meta.from_m, near = t.meta.seeds
  const open: { x: number, y: number, n: number }[] = []
  g.fillStyle = ink.ink
  // What lies within half a pixel of its like in the row is not seen beside it.
  const last = new Float64Array(steps.length * 4)
  let lane0 = 0
  for (let i = b.from; i < b.to; i++) {
    const x = (s[i]! / 1000 - from) / mpp + pad, y = (row[i]! - b.row + 0.5) * lane + over
    if (row[i] !== lane0) { lane0 = row[i]!; last.fill(-9) }
    if (kind[i] !== 3) {
      const like = kind[i]! * steps.length + stepOf(n[i]!)
      if (Math.abs(x - last[like]!) < 0.5) continue
      last[like] = x
    }
    switch (kind[i]) {
      case 0: tick(g, x, y, lane); break
      case 1: open.push({ x, y, n: n[i]! }); break
      case 2: if (near) joint(g, x, y, lane, Math.max(1.5, gap[i]! / 1000 / mpp)); else pair(g, x, y, lane, n[i]!); break
      case 3: hole(g, x - gap[i]! / 1000 / mpp, x, y, lane, ink); g.fillStyle = ink.ink; break
    }
  }
  rings(g, open, lane, near, ink)
  b.img = c
}

// merge makes one picture of painted bands, so that a frame moves one.
export function merge(bands: Band[], lane: number, dpr: number): Band {
  const rows = bands.reduce((n, b) => Math.max(n, b.row + b.rows - 1), 1)
  const all: Band = { row: 1, rows, from: 0, to: bands[bands.length - 1]!.to, img: document.createElement('canvas') }
  const c = all.img!
  c.width = bands[0]!.img!.width
  c.height = Math.ceil((rows * lane + 2 * over) * dpr)
  const g = c.getContext('2d')!
  for (const b of bands) {
    g.drawImage(b.img!, 0, Math.round((b.row - 1) * lane * dpr))
    b.img!.width = b.img!.height = 0
  }
  return all
}

// lay draws a painted band where its tile begins at x and the first lane at top,
// k times as large along as it was painted.
export function lay(g: G, b: Band, x: number, top: number, lane: number, mpp: number, dpr: number, k = 1) {
  const c = b.img!
  g.drawImage(c, x - padOf(mpp) * k, top + (b.row - 1) * lane - over, c.width / dpr * k, c.height / dpr)
}

export interface Near { i: number, s: number, row: number, kind: number, n: number, t: number, gap: number }

// nearest finds the mark of a row that is nearest to a place, within reach.
export function nearest(t: Tile, row: number, metres: number, reach: number): Near | null {
  const { s, kind, row: rows, n, gap, t: time } = t.of as { s: Int32Array, kind: Uint8Array, row: Uint8Array, n: Uint16Array, gap: Int32Array, t: Int32Array }
  let best = -1, d = reach * 1000
  for (let i = 0; i < s.length; i++) {
    if (rows[i] !== row) continue
    const e = kind[i] === 3 ? (metres * 1000 <= s[i]! && metres * 1000 >= s[i]! - gap[i]! ? 0 : Infinity) : Math.abs(s[i]! - metres * 1000) - (kind[i] === 0 ? 0 : 1) // what went wrong before a seed at the same place
    if (e < d) { d = e; best = i }
  }
  if (best < 0) return null
  return { i: best, s: s[best]! / 1000, row, kind: kind[best]!, n: n[best]!, t: time[best]!, gap: gap[best]! }
}

// between gives the time at a place of a row, in ms since the pass began, from
// the seeds on both sides of it; null where the tile does not have both.
export function between(t: Tile, row: number, metres: number): number | null {
  if (!t.meta.seeds) return null
  const { s, kind, row: rows, t: time } = t.of as { s: Int32Array, kind: Uint8Array, row: Uint8Array, t: Int32Array }
  const mm = metres * 1000
  let a = -1, b = -1
  for (let i = 0; i < s.length; i++) {
    if (rows[i] !== row || kind[i] !== 0) continue
    if (s[i]! <= mm && (a < 0 || s[i]! >= s[a]!)) a = i
    if (s[i]! >= mm && (b < 0 || s[i]! < s[b]!)) b = i
  }
  if (a < 0 || b < 0) return null
  return s[b] === s[a] ? time[a]! : time[a]! + (time[b]! - time[a]!) * (mm - s[a]!) / (s[b]! - s[a]!)
}
