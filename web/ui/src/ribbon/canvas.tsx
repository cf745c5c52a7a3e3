// The moving part of the ribbon: what is in view, tiles and their pictures,
// pointer, wheel, fingers and keys. Preact draws the frame; this draws itself.
import { useEffect, useRef } from 'preact/hooks'
import * as api from '../api'
import { across, bandsOf, between, bracket, hatch, inkOf, lay, levelOf, levelScale, merge, nearest, paint, rings, seedLevel, tileMetres, type Band, type Ink, type Tile, type TileHead } from '../draw/ribbon'
import { digits, ends, label, linear, round, show, stretchSays, ticks } from '../draw/scale'
import { stay } from '../route'
import { store, unheard } from '../state'

const face = '"Atkinson Hyperlegible Next", system-ui, sans-serif'
const drawnTracks = ['load', 'wheel-off', 'force', 'moisture', 'temperature', 'trash', 'speed', 'vacuum', 'liquid', 'granular']
const stretch = 15 // m

// In one frame new pictures are painted for so long, ms.
const frameTime = 4

interface Picture { bands: Band[], from: number, mpp: number, long: number, complete: boolean }

// Sign is what stands on the ribbon where single places are not told: a stretch
// of a row, or of all rows alike, with about how many places had no seed.
interface Sign { row: number, m: number, share: number, n: number, start: boolean }

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
  cursor: { m: number, row: number } | null = null
  focus = ''
  left = 62
  font = 13
  strip = 58 // height of a track
  readonly length: number
  readonly tracks: api.Track[]
  private signs: Sign[]
  private blank: { row: number, from: number, to: number }[]
  private dead = false
  frames: number[] = [] // how long each frame's drawing took, ms
  complete = false // all that is in view has been drawn

  constructor(readonly p: api.Pass, private canvas: HTMLCanvasElement, private box: HTMLElement, private say: (s: string) => void) {
    this.length = Math.max(1, p.length_m ?? 1)
    this.tracks = drawnTracks.map((id) => p.tracks.find((t) => t.measure === id)).filter((t): t is api.Track => !!t)
    this.signs = signsOf(p)
    this.blank = blankOf(p, this.length)
  }

  // tells is whether tiles say what went wrong: not without single places, unless
  // every seed is seen.
  get tells() { return this.p.grade === 'A' && (this.p.places || levelOf(this.mpp) <= seedLevel) }
  get rows() { return Math.max(1, this.p.rows) }
  get lanes() { return this.rows * this.lane }
  get axisRoom() { return this.font + 13 }
  get plot() { return this.width - this.left - 8 }
  get to() { return this.from + this.plot * this.mpp }
  x(m: number) { return this.left + (m - this.from) / this.mpp }
  m(x: number) { return this.from + (x - this.left) * this.mpp }
  rowAt(y: number) { const r = Math.floor((y - 12) / this.lane) + 1; return r >= 1 && r <= this.rows ? r : 0 }

  // fit takes the size of the box and keeps what is seen.
  fit(width: number) {
    const to = this.to
    const cab = document.documentElement.dataset.dress === 'cab'
    this.font = cab ? 18 : 13
    this.left = cab ? 84 : 62
    this.strip = cab ? 76 : 58
    const room = Math.max(220, innerHeight - this.box.getBoundingClientRect().top - scrollY - this.axisRoom - 70 - (cab ? 80 : 0))
    this.width = width
    this.lane = Math.max(cab ? 16 : 12, Math.min(cab ? 30 : 26, Math.floor((room - Math.min(this.tracks.length, 3) * this.strip) / this.rows)))
    this.height = 12 + this.lanes + this.axisRoom + this.tracks.length * this.strip
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
    // Without seed times there is one sign a stretch: nearer than a few of them
    // there would be nothing to see, as if nothing had gone wrong.
    const nearest = this.p.grade === 'A' ? levelScale(0) : Math.min(widest, 4 * stretch / this.plot)
    this.mpp = Math.max(nearest, Math.min(widest, this.mpp))
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

  zoom(by: number, at = this.left + this.plot / 2) {
    const m = this.m(at)
    this.mpp *= by
    this.clamp()
    this.from = m - (at - this.left) * this.mpp
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

  private text(g: CanvasRenderingContext2D, strong = false) { g.font = `${strong ? 600 : 400} ${this.font}px ${face}` }

  draw() {
    const begun = performance.now()
    const g = this.canvas.getContext('2d')!
    const dpr = this.canvas.width / this.width
    const { ink, left } = this
    g.setTransform(dpr, 0, 0, dpr, 0, 0)
    g.fillStyle = ink.paper
    g.fillRect(0, 0, this.width, this.height)
    this.text(g)
    g.textBaseline = 'middle'
    const top = 12
    // Lanes
    const a = Math.max(left, this.x(0)), b = Math.min(this.width - 8, this.x(this.length))
    if (this.row > 0 && this.row <= this.rows) { g.fillStyle = ink.wash; g.fillRect(left, top + (this.row - 1) * this.lane, this.plot, this.lane) }
    this.tint(g, top)
    g.fillStyle = ink.line
    for (let r = 1; r <= this.rows; r++) g.fillRect(a, top + (r - 0.5) * this.lane - 0.5, b - a, 1)
    const every = Math.ceil((this.font + 2) / this.lane)
    g.textAlign = 'right'
    for (let r = 1; r <= this.rows; r++) {
      const near = this.row > 0 && Math.abs(r - this.row) < every
      if (r !== this.row && ((r - 1) % every || near)) continue
      g.fillStyle = r === this.row ? ink.ink : ink.soft
      this.text(g, r === this.row)
      g.fillText('row ' + r, left - 10, top + (r - 0.5) * this.lane)
    }
    this.text(g)
    g.save()
    g.beginPath()
    g.rect(left, 0, this.plot + 8, this.height)
    g.clip()
    this.blanks(g, top)
    if (this.p.grade === 'A') this.marks(g, top, dpr)
    else this.complete = true
    if (!this.tells) this.drawSigns(g, top)
    this.lost(g, top)
    this.brackets(g, top)
    this.axis(g, top + this.lanes)
    g.restore()
    this.tracks.forEach((t, i) => this.line(g, t, top + this.lanes + this.axisRoom + i * this.strip))
    if (this.cursor) {
      const x = this.x(this.cursor.m)
      if (x >= left && x <= this.width - 7) {
        g.fillStyle = ink.accent
        g.fillRect(x - 0.5, top, 1, this.height - top)
        if (this.cursor.row) { const y = top + (this.cursor.row - 0.5) * this.lane; g.fillRect(x - 5, y - this.lane / 2, 10, 2); g.fillRect(x - 5, y + this.lane / 2 - 2, 10, 2) }
      }
    }
    const took = performance.now() - begun
    this.frames.push(took)
    if (this.frames.length > 2000) this.frames.shift()
  }

  // marks moves the pictures of the tiles in view, and paints of new ones only so
  // much in a frame that it stays short.
  private marks(g: CanvasRenderingContext2D, top: number, dpr: number) {
    const level = levelOf(this.mpp), size = tileMetres(level)
    const first = Math.max(0, Math.floor(this.from / size)), last = Math.floor(Math.min(this.length, this.to) / size)
    const begun = performance.now()
    let painted = false
    this.complete = true
    for (let i = first; i <= last; i++) {
      const key = `${level}/${i}/${this.mpp.toPrecision(9)}`
      const t = this.tile(level, i)
      let pic = this.pictures.get(key)
      if (!pic && t) {
        pic = { bands: bandsOf(t, this.rows), from: t.meta.from_m, mpp: this.mpp, long: t.meta.to_m - t.meta.from_m, complete: false }
        this.pictures.set(key, pic)
      }
      if (pic && !pic.complete && t) {
        for (const b of pic.bands) {
          if (b.img || painted && performance.now() - begun > frameTime) continue
          paint(t, b, this.lane, this.mpp, dpr, this.ink)
          painted = true
        }
        pic.complete = pic.bands.every((b) => b.img)
        if (pic.complete && pic.bands.length > 1) pic.bands = [merge(pic.bands, this.lane, dpr)]
        this.forget()
      }
      if (!pic?.complete) this.complete = false
      if (!pic || !pic.bands[0]!.img) { this.stand(g, level, i, top, dpr); continue }
      for (const b of pic.bands) if (b.img) lay(g, b, this.x(pic.from), top, this.lane, this.mpp, dpr)
    }
    if (painted) this.ask()
    // The next ones on both sides are fetched before they are wanted.
    if (first > 0) this.tile(level, first - 1)
    if ((last + 1) * size < this.length) this.tile(level, last + 1)
  }

  // forget lets the oldest pictures go beyond what a tablet can spare: 24 million
  // pixels are some 100 MB.
  private forget() {
    const of = (p: Picture) => p.bands.reduce((n, b) => n + (b.img ? b.img.width * b.img.height : 0), 0)
    let pixels = 0
    for (const p of this.pictures.values()) pixels += of(p)
    for (const [key, p] of this.pictures) {
      if (pixels <= 24e6 || this.pictures.size < 4) return
      pixels -= of(p)
      for (const b of p.bands) if (b.img) b.img.width = b.img.height = 0
      this.pictures.delete(key)
    }
  }

  // stand draws what there is of another scale until the tile has come.
  private stand(g: CanvasRenderingContext2D, level: number, i: number, top: number, dpr: number) {
    const size = tileMetres(level), from = i * size
    for (const pic of this.pictures.values()) {
      if (!pic.complete || pic.from >= from + size || pic.from + pic.long <= from) continue
      g.save()
      g.beginPath()
      g.rect(this.x(from), top, size / this.mpp, this.lanes)
      g.clip()
      g.globalAlpha = 0.5
      for (const b of pic.bands) lay(g, b, this.x(pic.from), top, this.lane, pic.mpp, dpr, pic.mpp / this.mpp)
      g.restore()
      return
    }
  }

  // drawSigns stands for skips where single places are not told.
  private drawSigns(g: CanvasRenderingContext2D, top: number) {
    const plain: { x: number, y: number, n: number }[] = [], start: typeof plain = []
    for (const s of this.signs) {
      const x = this.x(s.m)
      if (x < this.left - 10 || x > this.width) continue
      if (s.row === 0) across(g, x, top + 2, top + this.lanes - 2, s.n, this.ink)
      else (s.start ? start : plain).push({ x, y: top + (s.row - 0.5) * this.lane, n: s.n })
    }
    rings(g, start, this.lane, false, this.ink, true)
    rings(g, plain, this.lane, false, this.ink)
  }

  private blanks(g: CanvasRenderingContext2D, top: number) {
    for (const b of this.blank) {
      const x0 = Math.max(this.left, this.x(b.from)), x1 = Math.min(this.width, this.x(b.to))
      if (x1 - x0 < 1) continue
      const y = top + (b.row - 0.5) * this.lane, h = this.lane * 0.3
      hatch(g, x0, x1, y - h, y + h, this.ink)
    }
  }

  // lost lies over the lanes where nobody logged where the machine was: what the
  // rows did there has no place.
  private lost(g: CanvasRenderingContext2D, top: number) {
    g.textAlign = 'center'
    for (const q of this.p.gaps) {
      const x0 = Math.max(this.left, this.x(q.from_m)), x1 = Math.min(this.width, Math.max(this.x(q.to_m), this.x(q.from_m) + 3))
      if (x1 <= x0) continue
      g.fillStyle = this.ink.paper
      g.fillRect(x0, top, x1 - x0, this.lanes)
      hatch(g, x0, x1, top, top + this.lanes, this.ink)
      const says = lostSays(q), w = g.measureText(says).width + 12
      const mid = Math.max(this.left + w / 2, Math.min(this.width - w / 2, (x0 + x1) / 2)), y = top + this.lanes / 2
      g.fillStyle = this.ink.paper
      g.fillRect(mid - w / 2, y - this.font * 0.75, w, this.font * 1.5)
      g.fillStyle = this.ink.ink
      g.fillText(says, mid, y)
    }
  }

  private lanesOf(f: api.Pass['findings'][number]) { return f.rows.length && f.rows.length < this.rows ? f.rows : [0] }

  // tint lies under the rows of the finding that is looked at.
  private tint(g: CanvasRenderingContext2D, top: number) {
    const f = this.p.findings.find((f) => f.id === this.focus)
    if (!f) return
    const x0 = Math.max(this.left, this.x(f.from_m)), x1 = Math.min(this.width - 8, Math.max(this.x(f.to_m), this.x(f.from_m) + 3))
    if (x1 <= x0) return
    g.fillStyle = this.ink.band
    for (const r of this.lanesOf(f)) g.fillRect(x0, r === 0 ? top : top + (r - 1) * this.lane, x1 - x0, r === 0 ? this.lanes : this.lane)
  }

  private brackets(g: CanvasRenderingContext2D, top: number) {
    const of = (f: api.Pass['findings'][number]) => f.id === this.focus ? 'here' as const : f.listed ? 'listed' as const : 'other' as const
    const order = ['other', 'listed', 'here']
    for (const f of [...this.p.findings].sort((a, b) => order.indexOf(of(a)) - order.indexOf(of(b)))) {
      const x0 = Math.max(this.left + 1, this.x(f.from_m)), x1 = Math.min(this.width - 2, Math.max(this.x(f.to_m), this.x(f.from_m) + 3))
      if (x1 < this.left || x0 > this.width) continue
      for (const r of this.lanesOf(f)) bracket(g, x0, x1, r === 0 ? 3 : top + (r - 1) * this.lane + 1.5, of(f), this.ink)
    }
  }

  get lengthAxis(): api.Axis {
    return store.book?.units === 'metric' ? { si: 'm', unit: 'm', scale: 1, offset: 0 } : { si: 'm', unit: 'ft', scale: 0.3048, offset: 0 }
  }

  private axis(g: CanvasRenderingContext2D, y: number) {
    const a = this.lengthAxis
    g.fillStyle = this.ink.soft
    g.textAlign = 'center'
    for (const t of ticks(show(a, Math.max(0, this.from)), show(a, Math.min(this.length, this.to)), Math.max(2, this.plot / (this.font * 8.5)))) {
      const x = this.x(t * a.scale)
      g.fillRect(x, y, 1, 5)
      const text = `${Number.isInteger(t) ? digits(t) : Number(t.toFixed(2))} ${a.unit}`, half = g.measureText(text).width / 2
      g.fillText(text, Math.max(this.left + half, Math.min(this.width - half - 2, x)), y + 6 + this.font * 0.6)
    }
  }

  // value gives a track's value on the stretch of a place: of a row, or with 0 the
  // mean of all.
  value(t: api.Track, row: number, m: number): number | null {
    const k = Math.floor(m / stretch)
    return (t.by_row ? (row > 0 ? t.values[row - 1]?.[k] : mean(t)[k]) : t.values[0]?.[k]) ?? null
  }

  // line draws a track: its name, an axis with round numbers, the row or the mean
  // of rows, and behind it from the lowest row to the highest.
  private line(g: CanvasRenderingContext2D, t: api.Track, y: number) {
    const { ink, left } = this
    const vs = t.by_row ? (this.row > 0 ? t.values[this.row - 1] ?? [] : mean(t)) : t.values[0] ?? []
    const limits = ends(t.limit)
    const low = Math.min(t.low, ...limits), high = Math.max(t.high, ...limits)
    const lo = low > 0 && low < high * 0.5 ? 0 : low
    const marks = round(show(t.axis, lo), show(t.axis, Math.max(high, lo)), 3)
    const from = marks[0]!, to = marks[marks.length - 1]!
    const Y = linear(from, to, y + this.strip - 10, y + this.font + 11)
    g.textAlign = 'right'
    g.fillStyle = ink.line
    for (const v of marks) g.fillRect(left, Y(v) - 0.5, this.plot, 1)
    g.fillStyle = ink.soft
    for (const v of [from, to]) g.fillText(digits(v), left - 8, Y(v))
    g.textAlign = 'left'
    const name = `${t.label}, ${t.axis.unit}`, limit = t.limit.says && ` (limit ${t.limit.says})`
    const names = [name + limit + (t.by_row ? (this.row ? `, row ${this.row}` : ', mean of rows') : ''), name + limit, name]
    g.fillText(names.find((n) => g.measureText(n).width < this.plot) ?? name, left, y + this.font * 0.5 + 1)
    g.save()
    g.beginPath()
    g.rect(left, y, this.plot, this.strip)
    g.clip()
    const at = (v: number) => Y(show(t.axis, v))
    if (t.by_row && t.values.length > 1) {
      const [low, high] = spread(t)
      g.fillStyle = ink.band
      for (let k = 0; k < low.length; k++) {
        const a = low[k], b = high[k]
        if (a === null || a === undefined || b === null || b === undefined) continue
        const x0 = this.x(k * stretch), x1 = this.x(Math.min(this.length, (k + 1) * stretch))
        g.fillRect(x0, at(b), x1 - x0 + 0.5, Math.max(1, at(a) - at(b)))
      }
    }
    g.strokeStyle = ink.soft
    g.lineWidth = 1.5
    g.setLineDash([7, 4])
    for (const l of limits) {
      g.beginPath()
      g.moveTo(left, at(l))
      g.lineTo(left + this.plot, at(l))
      g.stroke()
    }
    g.setLineDash([])
    g.strokeStyle = ink.ink
    g.fillStyle = ink.ink
    g.beginPath()
    let pen = false
    vs.forEach((v, k) => {
      if (v === null) { pen = false; return }
      const x = this.x(t.s_m[k]!), yy = at(v)
      if (!pen) g.moveTo(x, yy)
      else g.lineTo(x, yy)
      if (!pen && (vs[k + 1] ?? null) === null) g.fillRect(x - 2, yy - 0.75, 4, 1.5) // alone
      pen = true
    })
    g.stroke()
    if (this.cursor) {
      const v = this.value(t, this.row, this.cursor.m)
      if (v !== null) { g.beginPath(); g.arc(this.x(this.cursor.m), at(v), 3.5, 0, 2 * Math.PI); g.fillStyle = ink.accent; g.fill() }
    }
    g.restore()
  }

  // mark is where keys zoom: at the line, where it is in view.
  get mark(): number | undefined {
    const x = this.cursor ? this.x(this.cursor.m) : -1
    return x >= this.left && x <= this.width ? x : undefined
  }

  // at tells what lies under a point.
  at(x: number, y: number) {
    const m = this.m(x)
    if (x < this.left || m < 0 || m > this.length) { this.leave(); return }
    this.tell(m, this.rowAt(y))
  }

  // walk moves the line of the keys by so many pixels, and the view after it.
  walk(px: number) {
    let m = this.cursor?.m
    if (m === undefined || m < this.from || m > this.to) m = this.m(this.left + this.plot / 2)
    else m += px * this.mpp
    m = Math.max(0, Math.min(this.length, m))
    const edge = this.plot * this.mpp * 0.06
    const by = m < this.from + edge ? m - this.from - edge : m > this.to - edge ? m - this.to + edge : 0
    if (by) { this.from += by; this.moved() }
    this.tell(m, this.row)
  }

  // tell says what is at a place: of a row, or with 0 of all.
  tell(m: number, row: number) {
    this.cursor = { m, row }
    const level = levelOf(this.mpp)
    const t = this.tiles.get(level + '/' + Math.floor(m / tileMetres(level)))
    const tile = t && typeof t !== 'string' ? t : null
    const gap = this.p.gaps.find((q) => m >= q.from_m && m <= q.to_m)
    const hit = row && tile && !gap ? nearest(tile, row, m, 9 * this.mpp) : null
    const sign = this.tells ? undefined : this.signs.find((s) => (s.row === 0 || s.row === row) && Math.floor(s.m / stretch) === Math.floor(m / stretch))
    const parts: string[] = [clock(this.timeAt(m, row, tile, hit)), label(this.lengthAxis, hit ? hit.s : m)]
    if (row) parts.push('row ' + row)
    if (hit) parts.push(this.what(hit))
    else if (sign) parts.push(this.signSays(sign))
    if (gap) parts.push(lostSays(gap))
    for (const tr of this.p.tracks) {
      if (!drawnTracks.includes(tr.measure) && (this.p.grade === 'A' || gap)) continue
      const v = this.value(tr, row, m)
      if (v !== null) parts.push(`${tr.label} ${label(tr.axis, v)}${tr.by_row && !row ? ' (mean of rows)' : ''}`)
    }
    this.say(parts.join(' · '))
    this.ask()
  }

  leave() { this.cursor = null; this.ask() }

  private signSays(s: Sign): string {
    const percent = label(this.p.tracks.find((t) => t.measure === 'skips')!.axis, s.share)
    return s.row === 0 ? `${percent} skipped in every row alike: a position or a count of the whole machine, not a row`
      : s.start ? `${percent} skipped, start of the pass: in part from before the bar was down`
      : `${percent} of the places without a seed, over ${stretchSays(store.book?.units)}`
  }

  private what(h: { kind: number, n: number, gap: number }): string {
    const a: api.Axis = store.book?.units === 'metric' ? { si: 'm', unit: 'cm', scale: 0.01, offset: 0 } : { si: 'm', unit: 'in', scale: 0.0254, offset: 0 }
    const gap = h.gap > 0 ? `, ${label(a, h.gap / 1000)} from the seed before` : ''
    if (h.kind === 3) return `no seed for ${label(this.lengthAxis, h.gap / 1000)} here`
    if (h.n > 1) return h.kind === 2 ? `${h.n} doubles` : `${h.n} places without a seed`
    return (h.kind === 1 ? 'a place without a seed' : h.kind === 2 ? 'two seeds in one place' : 'a seed') + (h.kind === 1 ? '' : gap)
  }

  // timeAt gives the time at a place: that of the seed or mark there, else between
  // the seeds around it, else by the way of the bar.
  timeAt(m: number, row = 0, tile: Tile | null = null, hit: { t: number } | null = null): number {
    const ms = hit ? hit.t : tile && row ? between(tile, row, m) : null
    if (ms !== null && this.p.start) return Date.parse(this.p.start) + ms
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
    for (const q of this.p.gaps) if (q.to_m > this.from && q.from_m < this.to) out.push({ row: 0, m: q.from_m, cells: ['all', clock(this.timeAt(q.from_m)), label(this.lengthAxis, q.from_m), `${lostSays(q)}, ${label(this.lengthAxis, q.to_m - q.from_m)}`] })
    if (!this.tells) {
      for (const s of this.signs) {
        if (s.m < this.from || s.m > this.to || (this.row > 0 && s.row !== this.row && s.row !== 0)) continue
        out.push({ row: s.row, m: s.m, cells: [s.row ? String(s.row) : 'all', clock(this.timeAt(s.m)), label(this.lengthAxis, s.m), this.signSays(s)] })
      }
      return out.slice(0, most).map((r) => r.cells)
    }
    const start = this.p.start ? Date.parse(this.p.start) : NaN
    for (let i = Math.max(0, Math.floor(this.from / size)); i <= Math.floor(this.to / size); i++) {
      const t = this.tiles.get(level + '/' + i)
      if (!t || typeof t === 'string') continue
      const { s, kind, row, n, gap, t: time } = t.of as { s: Int32Array, kind: Uint8Array, row: Uint8Array, n: Uint16Array, gap: Int32Array, t: Int32Array }
      for (let k = 0; k < s.length; k++) {
        const m = s[k]! / 1000
        if (kind[k] === 0 || (this.row > 0 && row[k] !== this.row) || m < this.from || m > this.to || kind[k] === 3 && this.p.gaps.some((q) => m - gap[k]! / 2000 > q.from_m && m - gap[k]! / 2000 < q.to_m)) continue
        out.push({ row: row[k]!, m, cells: [String(row[k]), clock(start + time[k]!), label(this.lengthAxis, m), this.what({ kind: kind[k]!, n: n[k]!, gap: gap[k]! })] })
      }
    }
    out.sort((x, y) => x.row - y.row || x.m - y.m)
    return out.slice(0, most).map((r) => r.cells)
  }

  // along gives the tracks in view for the table, at most so many places: names
  // with units, then time, place and values.
  along(most: number): { head: string[], rows: string[][], every: number } {
    const shown = this.p.tracks
    const a = Math.max(0, Math.floor(this.from / stretch)), b = Math.min(Math.ceil(this.length / stretch), Math.ceil(this.to / stretch))
    const every = Math.max(1, Math.ceil((b - a) / most))
    const rows: string[][] = []
    for (let k = a; k < b; k += every) {
      const m = Math.min(this.length, (k + 0.5) * stretch)
      rows.push([clock(this.timeAt(m)), label(this.lengthAxis, m), ...shown.map((t) => { const v = this.value(t, this.row, m); return v === null ? '' : digits(show(t.axis, v)) })])
    }
    return { head: ['time', 'place', ...shown.map((t) => `${t.label}, ${t.axis.unit}`)], rows, every: every * stretch }
  }

  choose(row: number) {
    this.row = row >= 1 && row <= this.rows && row !== this.row ? row : 0
    stay({ row: this.row || undefined })
    this.ask()
  }
}

const lostSays = (q: { seconds: number }) => `no position for ${digits(q.seconds)} s`

// signsOf gives the stretches on which a row skipped 1.5 % or more. What is the
// same in every row of a stretch is one sign for all of them: it comes of a
// position or of a count of the whole machine, not of the rows. Below seed times
// the first stretch is a sign of its own kind: boxes average their shares over
// some seconds, and those of the lowering hold ground before the bar was down.
export function signsOf(p: api.Pass): Sign[] {
  const t = p.tracks.find((t) => t.measure === 'skips')
  if (!t) return []
  const out: Sign[] = []
  for (let k = 0; k < t.s_m.length; k++) {
    const m = t.s_m[k]!
    if (p.gaps.some((q) => q.from_m < (k + 1) * stretch - 1 && q.to_m > k * stretch + 1)) continue // drawn as what it is
    const all = t.values.map((row) => row[k] ?? null)
    const told = all.filter((v): v is number => v !== null)
    const alike = !t.by_row || told.length > 2 && told.length === all.length && Math.max(...told) - Math.min(...told) < 1e-6
    const sign = (row: number, share: number) => { if (share >= 0.015) out.push({ row, m, share, n: share * 100, start: row > 0 && k === 0 && p.grade !== 'A' }) }
    if (alike) { if (told.length) sign(0, told[0]!) } else all.forEach((v, r) => { if (v !== null) sign(r + 1, v) })
  }
  return out
}

// blankOf gives the ground of each row of which nothing is known: the row was
// off, or nobody logged it.
function blankOf(p: api.Pass, length: number): { row: number, from: number, to: number }[] {
  const t = p.tracks.find((t) => t.measure === 'skips')
  const out: { row: number, from: number, to: number }[] = []
  if (!t) return out
  for (let r = 0; r < p.rows; r++) {
    const vs = t.by_row ? t.values[r] : t.values[0]
    for (let k = 0; k < t.s_m.length; k++) {
      if ((vs?.[k] ?? null) !== null) continue
      const from = k * stretch, to = Math.min(length, from + stretch), last = out[out.length - 1]
      if (last && last.row === r + 1 && last.to === from) last.to = to
      else out.push({ row: r + 1, from, to })
    }
  }
  return out
}

const means = new WeakMap<api.Track, (number | null)[]>()
const spreads = new WeakMap<api.Track, [(number | null)[], (number | null)[]]>()

function mean(t: api.Track): (number | null)[] {
  let out = means.get(t)
  if (!out) means.set(t, out = t.s_m.map((_, k) => {
    let n = 0, sum = 0
    for (const row of t.values) { const v = row[k]; if (typeof v === 'number') { n++; sum += v } }
    return n ? sum / n : null
  }))
  return out
}

// spread gives the lowest and the highest row on each stretch.
function spread(t: api.Track): [(number | null)[], (number | null)[]] {
  let out = spreads.get(t)
  if (!out) {
    const of = (f: (...xs: number[]) => number) => t.s_m.map((_, k) => { const vs = t.values.map((r) => r[k]).filter((v): v is number => typeof v === 'number'); return vs.length ? f(...vs) : null })
    spreads.set(t, out = [of(Math.min), of(Math.max)])
  }
  return out
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
      if (x < v.left) v.choose(v.rowAt(y))
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
    if (!v || unheard(e)) return
    const row = (by: number) => { v.choose(((v.row || (by > 0 ? 0 : v.rows + 1)) + by + v.rows - 1) % v.rows + 1); if (v.cursor) v.tell(v.cursor.m, v.row) }
    const keys: Record<string, () => void> = {
      ArrowLeft: () => e.shiftKey ? v.pan(v.plot * 0.2) : v.walk(-8), ArrowRight: () => e.shiftKey ? v.pan(-v.plot * 0.2) : v.walk(8),
      ArrowUp: () => row(-1), ArrowDown: () => row(1),
      PageUp: () => v.pan(v.plot * 0.8), PageDown: () => v.pan(-v.plot * 0.8),
      '+': () => v.zoom(0.5, v.mark), '=': () => v.zoom(0.5, v.mark), '-': () => v.zoom(2, v.mark), 0: () => v.whole(),
      Home: () => { v.from = 0; v.moved() }, End: () => { v.from = v.length; v.moved() }, Escape: () => { v.choose(0); v.leave() },
      n: () => step(1), p: () => step(-1), '[': () => p.previous && to(p.previous), ']': () => p.next && to(p.next),
    }
    const k = keys[e.key]
    if (k && !e.ctrlKey && !e.metaKey && !e.altKey) { e.preventDefault(); e.stopPropagation(); k() }
  }
  return <div ref={box} class="ribbon" tabIndex={0} role="application" aria-label={`${p.label}, ${p.rows} rows. Left and right move a line that tells what is there, up and down choose the row, with shift the view moves, plus and minus zoom, n and p go to the next and the previous finding. The same as a table below.`}
    onPointerDown={onDown} onPointerMove={onMove} onPointerUp={onUp} onPointerCancel={(e) => down.current.delete(e.pointerId)} onPointerLeave={() => view.current?.leave()} onKeyDown={onKey}>
    <canvas ref={canvas} />
  </div>
}
