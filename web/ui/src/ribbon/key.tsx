// The key: what the marks mean, drawn by what draws them.
import { useEffect, useRef } from 'preact/hooks'
import type * as api from '../api'
import { across, bracket, hatch, hole, inkOf, joint, pair, rings, tick, type Ink } from '../draw/ribbon'
import { stretchSays } from '../draw/scale'
import { dress, theme, useStore } from '../state'

type G = CanvasRenderingContext2D
interface Item { says: string, draw: (g: G, w: number, h: number, ink: Ink) => void }

const lane = 20
const sizes = (says: string, draw: (g: G, x: number, y: number, n: number, ink: Ink) => void): Item => ({
  says, draw: (g, w, h, ink) => [1, 5, 20].forEach((n, i) => draw(g, w * (0.18 + 0.32 * i), h / 2, n, ink)),
})

const places: Item[] = [
  sizes('1, 5, 20 places without a seed', (g, x, y, n, ink) => rings(g, [{ x, y, n }], lane, false, ink)),
  sizes('1, 5, 20 times two seeds in one place', (g, x, y, n, ink) => { g.fillStyle = ink.ink; pair(g, x, y, lane, n) }),
]
const seeds: Item[] = [
  { says: 'seeds, and a place without one', draw: (g, w, h, ink) => { g.fillStyle = ink.ink; for (const x of [0.1, 0.3, 0.7, 0.9]) tick(g, w * x, h / 2, lane); rings(g, [{ x: w / 2, y: h / 2, n: 1 }], lane, true, ink) } },
  { says: 'two seeds in one place', draw: (g, w, h, ink) => { g.fillStyle = ink.ink; for (const x of [w / 2 - 4, w / 2 + 3]) tick(g, x, h / 2 - 1, lane); joint(g, w / 2 + 3, h / 2 - 1, lane, 7) } },
]
const bare: Item = { says: 'ground without seed, as long as it is', draw: (g, w, h, ink) => hole(g, 3, w - 3, h / 2, lane, ink) }
const shares = (units: api.Book['units'] | undefined): Item[] => [
  sizes(`1, 5, 20 of 100 places without a seed, over ${stretchSays(units)}`, (g, x, y, n, ink) => rings(g, [{ x, y, n }], lane, false, ink)),
]
const start: Item = { says: 'start of the pass: a box that averages still counts ground from before the bar was down', draw: (g, w, h, ink) => rings(g, [{ x: w / 2, y: h / 2, n: 20 }], lane, false, ink, true) }
const all: Item = { says: 'the same in every row: a position, or a count of the whole machine', draw: (g, w, h, ink) => across(g, w / 2, 1.5, h - 1.5, 1, ink) }
const gap: Item = { says: 'no position was logged: what the rows did there has no place', draw: (g, w, h, ink) => hatch(g, w * 0.25, w * 0.75, 0, h, ink) }
const found: Item[] = [
  { says: 'a finding of the worklist', draw: (g, w, h, ink) => bracket(g, 4, w - 4, h / 2 - 2, 'listed', ink) },
  { says: 'the one looked at', draw: (g, w, h, ink) => { g.fillStyle = ink.band; g.fillRect(4, h / 2 - 5, w - 8, 12); bracket(g, 4, w - 4, h / 2 - 5, 'here', ink) } },
  { says: 'suspected, passing, over or set aside', draw: (g, w, h, ink) => bracket(g, 4, w - 4, h / 2 - 2, 'other', ink) },
]
const unknown: Item = { says: 'nothing known: the row was off, or not logged', draw: (g, w, h, ink) => hatch(g, 4, w - 4, h / 2 - 5, h / 2 + 5, ink) }
const band: Item = { says: 'under the lines: from the lowest row to the highest', draw: (g, w, h, ink) => { g.fillStyle = ink.band; g.fillRect(4, 4, w - 8, h - 8); g.fillStyle = ink.ink; g.fillRect(4, h / 2, w - 8, 1.5) } }

// itemsOf gives what can stand on a pass: no more than that.
export function itemsOf(p: api.Pass, signs: { row: number, start: boolean }[], focus: string, units: api.Book['units'] | undefined): Item[] {
  const near = p.grade === 'A'
  return [
    ...(near && p.places ? places : shares(units)), ...(near ? [...seeds, bare] : []),
    ...(signs.some((s) => s.start) ? [start] : []), ...(signs.some((s) => s.row === 0) && !(near && p.places) ? [all] : []), ...(p.gaps.length ? [gap] : []),
    ...(p.findings.some((f) => f.listed) ? [found[0]!] : []), ...(p.findings.some((f) => f.id === focus) ? [found[1]!] : []), ...(p.findings.some((f) => !f.listed) ? [found[2]!] : []),
    unknown, ...(p.tracks.some((t) => t.by_row) ? [band] : []),
  ]
}

const wide = 56, high = 24

export function Key({ items }: { items: Item[] }) {
  return <ul class="key">{items.map((i) => <li key={i.says}><Swatch of={i} />{i.says}</li>)}</ul>
}

function Swatch({ of }: { of: Item }) {
  const canvas = useRef<HTMLCanvasElement>(null)
  useStore()
  const themed = theme() + dress()
  useEffect(() => {
    const c = canvas.current!, dpr = Math.min(2, devicePixelRatio || 1)
    c.width = wide * dpr
    c.height = high * dpr
    const g = c.getContext('2d')!
    g.scale(dpr, dpr)
    of.draw(g, wide, high, inkOf(c))
  }, [of, themed])
  return <canvas ref={canvas} width={wide} height={high} aria-hidden="true" />
}
