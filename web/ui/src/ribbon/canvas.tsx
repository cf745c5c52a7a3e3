// The moving part of the ribbon: what is in view, tiles and their pictures,
// pointer, wheel, fingers and keys. Preact draws the frame; this draws itself.
import { useEffect, useRef } from 'preact/hooks'
import * as api from '../api'
import { inkOf, levelOf, levelScale, nearest, pad, picture, seedLevel, tileMetres, type Ink, type Tile, type TileHead } from '../draw/ribbon'
import { digits, label, linear, show, ticks } from '../draw/scale'
import { stay } from '../route'
import { store } from '../state'

const left = 62, axis = 26, track = 58
const drawnTracks = ['load', 'wheel-off', 'force', 'moisture', 'temperature', 'trash', 'speed', 'vacuum', 'liquid', 'granular']

interface Picture { img: HTMLCanvasElement, from: number, mpp: number }

// View holds what is seen: from a place in metres at a scale in metres a pixel.
export class View {
  from = 0
  mpp = 1
  row = 0
  width = 600
  height = 300
  lane = 20
  ink!: Ink
  private tiles = new Map<string, Tile | 'coming' | 'failed'>()
  private pictures = new Map<string, Picture>()
  private asked = 0
  private rest = 0
  private pointerAt: [number, number] | null = null
  focus = ''
  readonly length: number
  private tracks: api.Track[]
  private dead = false
  frames: number[] = [] // how long each frame's drawing took, ms
  complete = false // all that is in view has been drawn

  constructor(readonly p: api.Pass, private canvas: HTMLCanvasElement, private box: HTMLElement, private say: (s: string) => void) {
    this.length = Math.max(1, p.length_m ?? 1)
    this.tracks = drawnTracks.map((id) => p.tracks.find((t) => t.measure === id)).filter((t): t is api.Track => !!t)
  }

  // tells is whether tiles say what went wrong: not without single places, unless
  // every seed is seen.
  get tells() { return this.p.grade === 'A' && (this.p.places || levelOf(this.mpp) <= seedLevel) }
  get rows() { return Math.max(1, this.p.rows) }
  get lanes() { return this.rows * this.lane }
  get plot() { return this.width - left - 8 }
  x(m: number) { return left + (m - this.from) / this.mpp }
  m(x: number) { return this.from + (x - left) * this.mpp }

  // fit takes the size of the box and keeps what is seen.
  fit(width: number) {
    const to = this.from + this.plot * this.mpp
    const cab = document.documentElement.dataset.dress === 'cab'
    const room = Math.max(220, innerHeight - this.box.getBoundingClientRect().top - scrollY - axis - 70 - (cab ? 80 : 0))
    this.width = width
    this.lane = Math.max(cab ? 16 : 12, Math.min(cab ? 30 : 26, Math.floor((room - Math.min(this.tracks.length, 3) * track) / this.rows)))
    this.height = 12 + this.lanes + axis + this.tracks.length * track
    const dpr = Math.min(2, devicePixelRatio || 1)
    this.canvas.width = Math.ceil(width * dpr)
    this.canvas.height = Math.ceil(this.height * dpr)
    this.box.style.height = this.height + 'px'
    this.ink = inkOf(this.box)
    this.pictures.clear()
    this.mpp = (to - this.from) / Math.max(50, this.plot)
    this.clamp()
    this.ask()
  }

  clamp() {
    const widest = this.length * 1.04 / this.plot
    this.mpp = Math.max(levelScale(0), Math.min(widest, this.mpp))
    const over = this.plot * this.mpp
    this.from = over >= this.length ? (this.length - over) / 2 : Math.max(-0.02 * over, Math.min(this.length - 0.98 * over, this.from))
  }

  set(from: number, to: number) {
    this.from = from
    this.mpp = Math.max(1e-6, (to - from) / this.plot)
    this.moved()
  }

  whole() { this.set(-0.02 * this.length, 1.02 * this.length) }

  // showRange brings a part into view with some ground on both sides.
  showRange(from: number, to: number) {
    const d = Math.max(6, (to - from) * 0.15)
    this.set(from - d, Math.max(to, from + 3) + d)
  }

  zoom(by: number, at = left + this.plot / 2) {
    const m = this.m(at)
    this.mpp *= by
    this.clamp()
    this.from = m - (at - left) * this.mpp
    this.moved()
  }

  pan(px: number) { this.from -= px * this.mpp; this.moved() }

  moved() {
    this.clamp()
    this.ask()
    clearTimeout(this.rest)
    this.rest = window.setTimeout(() => {
      const round = (x: number) => Math.round(x * 100) / 100
      stay({ from: round(Math.max(0, this.from)), to: round(Math.min(this.length, this.from + this.plot * this.mpp)) })
    }, 300)
  }

  // ask for a frame; however often, one is drawn.
  ask() {
    if (this.asked || this.dead) return
    this.asked = requestAnimationFrame(() => { this.asked = 0; this.draw() })
  }

  close() { this.dead = true; cancelAnimationFrame(this.asked); clearTimeout(this.rest) }

  private tile(level: number, i: number): Tile | null {
    const key = level + '/' + i
    const have = this.tiles.get(key)
    if (have) return have === 'coming' || have === 'failed' ? null : have
    this.tiles.set(key, 'coming')
    if (this.tiles.size > 400) for (const k of [...this.tiles.keys()].slice(0, 100)) this.tiles.delete(k)
    api.columns<TileHead>('/ribbon' + api.query({ pass: this.p.key, level, tile: String(i) })).then(
      (t) => { this.tiles.set(key, t); this.ask() },
      () => { this.tiles.set(key, 'failed'); this.say('Part of the pass could not be fetched. Move, or reload the page.'); setTimeout(() => this.tiles.delete(key), 3000) },
    )
    return null
  }

  draw() {
    const begun = performance.now()
    const g = this.canvas.getContext('2d')!
    const dpr = this.canvas.width / this.width
    const { ink } = this
    g.setTransform(dpr, 0, 0, dpr, 0, 0)
    g.fillStyle = ink.paper
    g.fillRect(0, 0, this.width, this.height)
    g.font = '13px "Atkinson Hyperlegible Next", system-ui, sans-serif'
    g.textBaseline = 'middle'
    const top = 12
    // Lanes
    const a = Math.max(left, this.x(0)), b = Math.min(this.width - 8, this.x(this.length))
    if (this.row > 0 && this.row <= this.rows) { g.fillStyle = ink.wash; g.fillRect(left, top + (this.row - 1) * this.lane, this.plot, this.lane) }
    g.fillStyle = ink.line
    for (let r = 1; r <= this.rows; r++) g.fillRect(a, top + (r - 0.5) * this.lane - 0.5, b - a, 1)
    const every = Math.ceil(15 / this.lane)
    g.textAlign = 'right'
    for (let r = 1; r <= this.rows; r++) {
      if ((r - 1) % every && r !== this.row) continue
      g.fillStyle = r === this.row ? ink.ink : ink.soft
      g.font = `${r === this.row ? 600 : 400} 13px "Atkinson Hyperlegible Next", system-ui, sans-serif`
      g.fillText('row ' + r, left - 10, top + (r - 0.5) * this.lane)
    }
    g.font = '13px "Atkinson Hyperlegible Next", system-ui, sans-serif'
    g.save()
    g.beginPath()
    g.rect(left, 0, this.plot + 8, this.height)
    g.clip()
    if (this.p.grade === 'A') this.marks(g, top, dpr)
    else this.complete = true
    if (!this.tells) this.rings(g, top)
    this.brackets(g, top)
    this.axis(g, top + this.lanes)
    this.tracks.forEach((t, i) => this.line(g, t, top + this.lanes + axis + i * track))
    g.restore()
    this.names(g, top + this.lanes + axis)
    if (this.pointerAt) { g.fillStyle = ink.accent; g.fillRect(this.pointerAt[0], top, 1, this.height - top) }
    const took = performance.now() - begun
    this.frames.push(took)
    if (this.frames.length > 2000) this.frames.shift()
  }

  // marks moves the pictures of the tiles in view, and paints at most one new
  // picture a frame, so that a frame stays short.
  private marks(g: CanvasRenderingContext2D, top: number, dpr: number) {
    const level = levelOf(this.mpp), size = tileMetres(level)
    const first = Math.max(0, Math.floor(this.from / size)), last = Math.floor(Math.min(this.length, this.from + this.plot * this.mpp) / size)
    let painted = false
    this.complete = true
    for (let i = first; i <= last; i++) {
      const key = `${level}/${i}/${this.mpp.toPrecision(9)}`
      let pic = this.pictures.get(key)
      if (!pic) {
        const t = this.tile(level, i)
        if (t && !painted) {
          pic = { img: picture(t, this.rows, this.lane, this.mpp, dpr, this.ink), from: t.meta.from_m, mpp: this.mpp }
          this.pictures.set(key, pic)
          this.forget()
          painted = true
        } else if (t) this.ask()
      }
      if (!pic) { this.complete = false; this.stand(g, level, i, top, dpr); continue }
      g.drawImage(pic.img, this.x(pic.from) - pad, top, pic.img.width / dpr, pic.img.height / dpr)
    }
    if (painted) this.ask()
    // The next ones on both sides are fetched before they are wanted.
    if (first > 0) this.tile(level, first - 1)
    if ((last + 1) * size < this.length) this.tile(level, last + 1)
  }

  // forget lets the oldest pictures go beyond what a tablet can spare: 24 million
  // pixels are some 100 MB.
  private forget() {
    let pixels = 0
    for (const p of this.pictures.values()) pixels += p.img.width * p.img.height
    for (const [key, p] of this.pictures) {
      if (pixels <= 24e6 || this.pictures.size < 4) return
      pixels -= p.img.width * p.img.height
      p.img.width = p.img.height = 0
      this.pictures.delete(key)
    }
  }

  // stand draws what there is of another scale until the tile has come.
  private stand(g: CanvasRenderingContext2D, level: number, i: number, top: number, dpr: number) {
    const size = tileMetres(level), from = i * size
    for (const pic of this.pictures.values()) {
      const long = (pic.img.width / dpr - 2 * pad) * pic.mpp
      if (pic.from >= from + size || pic.from + long <= from) continue
      const k = pic.mpp / this.mpp
      g.save()
      g.beginPath()
      g.rect(this.x(from), top, size / this.mpp, this.lanes)
      g.clip()
      g.globalAlpha = 0.5
      g.drawImage(pic.img, this.x(pic.from) - pad * k, top, pic.img.width / dpr * k, pic.img.height / dpr)
      g.restore()
      return
    }
  }

  // rings stand for skips where only a row a second is known.
  private rings(g: CanvasRenderingContext2D, top: number) {
    const t = this.p.tracks.find((t) => t.measure === 'skips')
    if (!t) return
    g.strokeStyle = this.ink.ink
    g.lineWidth = 1.6
    t.values.forEach((row, r) => {
      if (!t.by_row && r > 0) return
      row.forEach((v, k) => {
        if (v === null || v < 0.015) return
        const x = this.x(t.s_m[k]!)
        if (x < left - 10 || x > this.width) return
        const radius = Math.min(this.lane * 0.46, 1.8 + 26 * v)
        g.beginPath()
        g.arc(x, top + (r + 0.5) * this.lane, radius, 0, 2 * Math.PI)
        g.stroke()
      })
    })
  }

  private brackets(g: CanvasRenderingContext2D, top: number) {
    for (const f of this.p.findings) {
      if (f.stage !== 'raised' && f.id !== this.focus) continue
      const here = f.id === this.focus
      g.strokeStyle = here ? this.ink.accent : this.ink.soft
      g.lineWidth = here ? 2.5 : 1.4
      const rows = f.rows.length && f.rows.length < this.rows ? f.rows : [0]
      const x0 = Math.max(left + 1, this.x(f.from_m)), x1 = Math.min(this.width - 2, Math.max(this.x(f.to_m), this.x(f.from_m) + 3))
      if (x1 < left || x0 > this.width) continue
      for (const r of rows) {
        const y = r === 0 ? 3 : top + (r - 1) * this.lane + 1.5
        g.beginPath()
        g.moveTo(x0, y + 5)
        g.lineTo(x0, y)
        g.lineTo(x1, y)
        g.lineTo(x1, y + 5)
        g.stroke()
      }
    }
  }

  private get length_axis(): api.Axis {
    return store.book?.units === 'metric' ? { si: 'm', unit: 'm', scale: 1, offset: 0 } : { si: 'm', unit: 'ft', scale: 0.3048, offset: 0 }
  }

  private axis(g: CanvasRenderingContext2D, y: number) {
    const a = this.length_axis
    g.fillStyle = this.ink.soft
    g.textAlign = 'center'
    for (const t of ticks(show(a, Math.max(0, this.from)), show(a, Math.min(this.length, this.from + this.plot * this.mpp)), Math.max(2, this.plot / 110))) {
      const x = this.x(t * a.scale)
      g.fillRect(x, y, 1, 5)
      const text = `${digits(t)} ${a.unit}`, half = g.measureText(text).width / 2
      g.fillText(text, Math.max(left + half, Math.min(this.width - half - 2, x)), y + 14)
    }
  }

  private values(t: api.Track): (number | null)[] { return (t.by_row && this.row > 0 ? t.values[this.row - 1] : undefined) ?? (t.by_row ? mean(t) : t.values[0]) ?? [] }

  private line(g: CanvasRenderingContext2D, t: api.Track, y: number) {
    const vs = this.values(t)
    const lo = t.low > 0 && t.low < t.high * 0.5 ? 0 : t.low, hi = t.high > lo ? t.high : lo + 1
    const Y = linear(lo, hi, y + track - 9, y + 22)
    g.fillStyle = this.ink.line
    g.fillRect(left, y + track - 4, this.plot, 1)
    g.strokeStyle = this.ink.ink
    g.lineWidth = 1.5
    g.beginPath()
    let pen = false
    for (let k = 0; k < vs.length; k++) {
      const v = vs[k]
      if (v === null || v === undefined) { pen = false; continue }
      const x = this.x(t.s_m[k]!), yy = Y(v)
      if (!pen) g.moveTo(x, yy)
      else g.lineTo(x, yy)
      pen = true
    }
    g.stroke()
  }

  private names(g: CanvasRenderingContext2D, y: number) {
    g.textAlign = 'left'
    this.tracks.forEach((t, i) => {
      const yy = y + i * track + 10
      const text = `${t.label}, ${t.axis.unit}${t.by_row ? (this.row ? `, row ${this.row}` : ', mean of rows') : ''}`
      g.fillStyle = this.ink.soft
      g.fillText(text, left, yy)
    })
  }

  // at tells what lies under a point.
  at(x: number, y: number) {
    const row = Math.floor((y - 12) / this.lane) + 1
    const m = this.m(x)
    if (x < left || m < 0 || m > this.length) { this.pointerAt = null; this.ask(); return }
    this.pointerAt = [x, y]
    const within = row >= 1 && row <= this.rows
    const parts: string[] = []
    const level = levelOf(this.mpp)
    const t = this.tiles.get(level + '/' + Math.floor(m / tileMetres(level)))
    const hit = within && t && typeof t !== 'string' ? nearest(t, row, m, 9 * this.mpp) : null
    parts.push(clock(this.timeAt(hit ? hit.s : m)))
    parts.push(label(this.length_axis, hit ? hit.s : m))
    if (within) parts.push('row ' + row)
    if (hit) parts.push(this.what(hit))
    const k = Math.floor(m / 15)
    for (const tr of this.p.tracks) {
      const v = (tr.by_row ? (within ? tr.values[row - 1] : undefined) : tr.values[0])?.[k]
      if (typeof v === 'number' && (drawnTracks.includes(tr.measure) || this.p.grade !== 'A')) parts.push(`${tr.label} ${label(tr.axis, v)}`)
    }
    this.say(parts.join(' · '))
    this.ask()
  }

  leave() { this.pointerAt = null; this.ask() }

  private what(h: { kind: number, n: number, gap: number }): string {
    const a: api.Axis = store.book?.units === 'metric' ? { si: 'm', unit: 'cm', scale: 0.01, offset: 0 } : { si: 'm', unit: 'in', scale: 0.0254, offset: 0 }
    const gap = h.gap > 0 ? `, ${label(a, h.gap / 1000)} from the seed before` : ''
    if (h.kind === 3) return `no seed for ${label(this.length_axis, h.gap / 1000)} here`
    if (h.n > 1) return h.kind === 2 ? `${h.n} doubles` : `${h.n} places without a seed`
    return (h.kind === 1 ? 'a place without a seed' : h.kind === 2 ? 'two seeds in one place' : 'a seed') + (h.kind === 1 ? '' : gap)
  }

  timeAt(m: number): number {
    const t = this.p.track
    if (t.length === 0) return NaN
    let i = t.findIndex((q) => q.s_m >= m)
    if (i < 0) i = t.length - 1
    const b = t[i]!, a = t[Math.max(0, i - 1)]!
    const ta = Date.parse(a.time!), tb = Date.parse(b.time!)
    return b.s_m === a.s_m ? ta : ta + (tb - ta) * (m - a.s_m) / (b.s_m - a.s_m)
  }

  // list gives what went wrong in view, for the table.
  list(most: number): string[][] {
    const level = levelOf(this.mpp), size = tileMetres(level)
    const out: { row: number, m: number, cells: string[] }[] = []
    if (!this.tells) {
      const t = this.p.tracks.find((t) => t.measure === 'skips')
      t?.values.forEach((row, r) => row.forEach((v, k) => {
        const m = t.s_m[k]!
        if (v === null || v < 0.015 || m < this.from || m > this.from + this.plot * this.mpp || (this.row > 0 && r + 1 !== this.row)) return
        out.push({ row: r + 1, m, cells: [t.by_row ? String(r + 1) : 'all', clock(this.timeAt(m)), label(this.length_axis, m), `${label(t.axis, v)} of the places without a seed, over about 50 ft`] })
      }))
      return out.slice(0, most).map((r) => r.cells)
    }
    for (let i = Math.max(0, Math.floor(this.from / size)); i <= Math.floor((this.from + this.plot * this.mpp) / size); i++) {
      const t = this.tiles.get(level + '/' + i)
      if (!t || typeof t === 'string') continue
      const { s, kind, row, n, gap } = t.of as { s: Int32Array, kind: Uint8Array, row: Uint8Array, n: Uint16Array, gap: Int32Array }
      for (let k = 0; k < s.length; k++) {
        if (kind[k] === 0 || (this.row > 0 && row[k] !== this.row)) continue
        const m = s[k]! / 1000
        out.push({ row: row[k]!, m, cells: [String(row[k]), clock(this.timeAt(m)), label(this.length_axis, m), this.what({ kind: kind[k]!, n: n[k]!, gap: gap[k]! })] })
      }
    }
    out.sort((x, y) => x.row - y.row || x.m - y.m)
    return out.slice(0, most).map((r) => r.cells)
  }

  choose(row: number) {
    this.row = row >= 1 && row <= this.rows && row !== this.row ? row : 0
    stay({ row: this.row || undefined })
    this.ask()
  }
}

function mean(t: api.Track): (number | null)[] {
  return t.s_m.map((_, k) => {
    let n = 0, sum = 0
    for (const row of t.values) { const v = row[k]; if (typeof v === 'number') { n++; sum += v } }
    return n ? sum / n : null
  })
}

// clock writes a moment as the logbook's people read it, to the second.
export function clock(ms: number): string {
  if (!Number.isFinite(ms)) return ''
  const b = store.book
  return new Intl.DateTimeFormat('en-US', { timeZone: b?.zone, hour: 'numeric', minute: '2-digit', second: '2-digit', hour12: b?.units !== 'metric' }).format(ms).replace(/ ([AP]M)$/, (_, h: string) => ' ' + h.toLowerCase())
}

interface Props { p: api.Pass, q: URLSearchParams, say: (s: string) => void, view: { current: View | null }, focus: string, step: (way: 1 | -1) => void, to: (key: string) => void }

export function Canvas({ p, q, say, view, focus, step, to }: Props) {
  const box = useRef<HTMLDivElement>(null)
  const canvas = useRef<HTMLCanvasElement>(null)
  useEffect(() => {
    const v = view.current = new View(p, canvas.current!, box.current!, say)
    ;(window as unknown as { ribbon: View }).ribbon = v // for the tests that time it
    v.fit(box.current!.clientWidth)
    const from = Number(q.get('from')), end = Number(q.get('to'))
    const f = p.findings.find((f) => f.id === focus)
    if (q.has('from') && end > from) v.set(from, end)
    else if (f) v.showRange(f.from_m, f.to_m)
    else v.whole()
    const o = new ResizeObserver(() => { const w = box.current?.clientWidth; if (w && w !== v.width) v.fit(w) })
    o.observe(box.current!)
    const themed = new MutationObserver(() => v.fit(v.width))
    themed.observe(document.documentElement, { attributes: true, attributeFilter: ['data-theme', 'data-dress'] })
    void document.fonts.ready.then(() => v.ask())
    return () => { o.disconnect(); themed.disconnect(); v.close(); view.current = null }
  }, [p])
  useEffect(() => {
    const v = view.current
    if (!v) return
    v.focus = focus
    v.row = Number(q.get('row')) || 0
    v.ask()
  }, [focus, q.get('row'), p])

  // Fingers and mouse: one moves, two pinch, the wheel zooms where it points and
  // with shift moves.
  const down = useRef(new Map<number, { x: number, y: number }>())
  const moved = useRef(0)
  const place = (e: PointerEvent | WheelEvent): [number, number] => { const r = canvas.current!.getBoundingClientRect(); return [e.clientX - r.left, e.clientY - r.top] }
  const onDown = (e: PointerEvent) => {
    const [x, y] = place(e)
    down.current.set(e.pointerId, { x, y })
    moved.current = 0
    box.current!.setPointerCapture(e.pointerId)
  }
  const onMove = (e: PointerEvent) => {
    const v = view.current
    if (!v) return
    const [x, y] = place(e)
    const was = down.current.get(e.pointerId)
    if (!was) { v.at(x, y); return }
    const others = [...down.current].filter(([id]) => id !== e.pointerId)
    const o = others[0]?.[1]
    if (o) {
      const before = Math.abs(was.x - o.x), now = Math.abs(x - o.x)
      if (before > 10 && now > 10) v.zoom(before / now, (x + o.x) / 2)
    } else v.pan(x - was.x)
    moved.current += Math.abs(x - was.x) + Math.abs(y - was.y)
    down.current.set(e.pointerId, { x, y })
  }
  const onUp = (e: PointerEvent) => {
    const v = view.current
    const [x, y] = place(e)
    if (down.current.delete(e.pointerId) && moved.current < 6 && v) {
      if (x < left) v.choose(Math.floor((y - 12) / v.lane) + 1)
      else v.at(x, y)
    }
  }
  useEffect(() => {
    const el = box.current!
    const wheel = (e: WheelEvent) => {
      const v = view.current
      if (!v) return
      e.preventDefault()
      const [x] = place(e)
      if (e.shiftKey || Math.abs(e.deltaX) > Math.abs(e.deltaY)) v.pan(-(e.deltaX || e.deltaY))
      else v.zoom(Math.exp(Math.max(-120, Math.min(120, e.deltaY)) * 0.003), x)
    }
    el.addEventListener('wheel', wheel, { passive: false })
    return () => el.removeEventListener('wheel', wheel)
  }, [])
  const onKey = (e: KeyboardEvent) => {
    const v = view.current
    if (!v) return
    const keys: Record<string, () => void> = {
      ArrowLeft: () => v.pan(v.plot * 0.2), ArrowRight: () => v.pan(-v.plot * 0.2),
      ArrowUp: () => v.choose(v.row > 1 ? v.row - 1 : v.rows), ArrowDown: () => v.choose(v.row < v.rows ? v.row + 1 : 1),
      '+': () => v.zoom(0.5), '=': () => v.zoom(0.5), '-': () => v.zoom(2), 0: () => v.whole(),
      Home: () => { v.from = 0; v.moved() }, End: () => { v.from = v.length; v.moved() },
      n: () => step(1), p: () => step(-1), '[': () => p.previous && to(p.previous), ']': () => p.next && to(p.next),
    }
    const k = keys[e.key]
    if (k && !e.ctrlKey && !e.metaKey && !e.altKey) { e.preventDefault(); e.stopPropagation(); k() }
  }
  return <div ref={box} class="ribbon" tabIndex={0} role="application" aria-label={`${p.label}, ${p.rows} rows. Arrows move along and from row to row, plus and minus zoom, n and p go to the next and the previous finding. The same as a table below.`}
    onPointerDown={onDown} onPointerMove={onMove} onPointerUp={onUp} onPointerCancel={(e) => down.current.delete(e.pointerId)} onPointerLeave={() => view.current?.leave()} onKeyDown={onKey}>
    <canvas ref={canvas} />
  </div>
}
