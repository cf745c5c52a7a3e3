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

export interface Ink { ink: string, paper: string, line: string, soft: string, accent: string, band: string, faint: string, wash: string }

export function inkOf(el: Element): Ink {
  const s = getComputedStyle(el)
  const v = (n: string) => s.getPropertyValue('--' + n).trim()
  return { ink: v('ink'), paper: v('paper'), line: v('line'), soft: v('soft'), accent: v('accent'), band: v('band'), faint: v('faint'), wash: v('wash') }
}

// pad is how far marks reach over the edge of their tile, in pixels.
export const pad = 9

// picture paints a tile's marks for lanes of a height at a scale.
export function picture(t: Tile, rows: number, lane: number, mpp: number, dpr: number, ink: Ink): HTMLCanvasElement {
  const w = Math.ceil((t.meta.to_m - t.meta.from_m) / mpp) + 2 * pad
  const c = document.createElement('canvas')
  c.width = Math.ceil(w * dpr)
  c.height = Math.ceil((rows * lane + 2) * dpr)
  const g = c.getContext('2d')!
  g.scale(dpr, dpr)
  const { s, kind, row, n, gap } = t.of as { s: Int32Array, kind: Uint8Array, row: Uint8Array, n: Uint16Array, gap: Int32Array }
  const half = Math.min(6.5, lane * 0.36), r = Math.min(4.8, lane * 0.3)
  // From afar a mark is the larger the more it stands for, so that the odd skip
  // of a healthy row stays in the background.
  const size = (n: number) => t.meta.seeds ? 1 : n >= 4 ? 1 : n === 3 ? 0.85 : n === 2 ? 0.72 : 0.58
  const from = t.meta.from_m
  const X = (mm: number) => (mm / 1000 - from) / mpp + pad
  const Y = (k: number) => (k - 0.5) * lane
  g.fillStyle = ink.ink
  const rings: number[] = []
  for (let i = 0; i < s.length; i++) {
    const x = X(s[i]!), y = Y(row[i]!)
    switch (kind[i]) {
      case 0:
        g.fillRect(x - 0.75, y - half, 1.5, 2 * half)
        break
      case 3: { // ground without seed, as long as it is
        const w = gap[i]! / 1000 / mpp, h = Math.min(5, lane * 0.3)
        g.strokeStyle = ink.ink
        g.lineWidth = 1.4
        g.fillStyle = ink.paper
        g.fillRect(x - w, y - h, w, 2 * h)
        g.beginPath()
        g.moveTo(x - w, y - h)
        g.lineTo(x, y - h)
        g.moveTo(x - w, y + h)
        g.lineTo(x, y + h)
        g.stroke()
        g.fillStyle = ink.ink
        break
      }
      case 1:
        rings.push(i)
        break
      case 2: {
        if (t.meta.seeds) {
          const d = Math.max(1.5, gap[i]! / 1000 / mpp)
          g.fillRect(x - d - 0.8, y + half + 0.6, d + 1.6, 1.8)
          break
        }
        const k = size(n[i]!), h = half * k
        g.fillRect(x - 2.4 * k - 0.7, y - h, 1.4, 2 * h)
        g.fillRect(x + 2.4 * k - 0.7, y - h, 1.4, 2 * h)
        g.fillRect(x - 2.4 * k - 0.7, y + h, 4.8 * k + 1.4, 1.5)
        break
      }
    }
  }
  g.beginPath()
  for (const i of rings) { const x = X(s[i]!), y = Y(row[i]!), q = r * size(n[i]!); g.moveTo(x + q, y); g.arc(x, y, q, 0, 2 * Math.PI) }
  g.fillStyle = ink.paper
  g.fill()
  g.strokeStyle = ink.ink
  g.lineWidth = t.meta.seeds ? 1.7 : 1.4
  g.stroke()
  g.fillStyle = ink.ink
  for (const i of rings) if (n[i]! > 2) { // several in one mark
    const q = n[i]! > 6 ? 2.2 : 1.3
    g.fillRect(X(s[i]!) - q, Y(row[i]!) - q, 2 * q, 2 * q)
  }
  return c
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
