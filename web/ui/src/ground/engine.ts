// The map itself, loaded with this screen alone: cells, passes, boundaries and
// marks on a ground without any outside map.
import { LngLatBounds, Map as GLMap, Marker, addProtocol, prewarm, setWorkerUrl, type DataDrivenPropertyValueSpecification, type FilterSpecification, type GeoJSONSource, type LayerSpecification, type StyleSpecification } from 'maplibre-gl'
import worker from 'maplibre-gl/dist/maplibre-gl-worker.mjs'
import { FileSource, PMTiles, Protocol } from 'pmtiles'
import type { Ground as View, Patches } from '../api'
import { stamp, type PatchKind } from '../draw/patches'
import { aside, beside, hatch, lightFirst, step, type Frame } from './colour'
import { unheard } from '../state'
import { farthest, margin, nearest, seen, type Camera } from './place'

setWorkerUrl(new URL(worker, import.meta.url).href)
prewarm() // its worker starts before the first map is made
const files = new Protocol()
addProtocol('pmtiles', files.tile)

export interface Look { paper: string, ink: string, edge: string, accent: string, classes: string[] }
export interface Tells {
  moved(c: Camera, metresPerPixel: number): void
  picked(lat: number, lon: number, patch: string | undefined): void
  chose(finding: string): void
  drawn(): void // all that is in view is there, for the first time
  failed(text: string): void
}

const nothing = { type: 'FeatureCollection' as const, features: [] }
const under = 'cells' // backgrounds are laid under this layer
const patches: PatchKind[] = ['left', 'twice']
const reach = 9 // pixels within which a piece of ground is touched

export class Engine {
  private map: GLMap
  private marks: Marker[] = []
  private spot: Marker | null = null
  private look: Look
  private view: View | null = null
  private tiles = ''
  private ready: Promise<void>
  private backdrop: string[] = [] // layers of the background file
  private sizes: ResizeObserver
  private closed = false // what waits for the map then waits for good

  constructor(box: HTMLElement, look: Look, at: Camera | null, private tells: Tells) {
    this.look = look
    const style: StyleSpecification = { version: 8, transition: { duration: 0, delay: 0 }, sources: {}, layers: [{ id: 'paper', type: 'background', paint: { 'background-color': look.paper } }] }
    this.map = new GLMap({
      container: box, style, attributionControl: false, maplibreLogo: false, maxZoom: 21, minZoom: farthest, maxPitch: 0, dragRotate: false, pitchWithRotate: false,
      renderWorldCopies: false, fadeDuration: 0, trackResize: false, canvasContextAttributes: { preserveDrawingBuffer: true } /* for print */, locale: { 'Map.Title': 'The ground: arrows move, plus and minus zoom, Enter tells what is in the middle' },
      center: at ? [at.lon, at.lat] : [-93, 42], zoom: at ? at.zoom : farthest,
    })
    this.map.touchZoomRotate.disableRotation()
    this.map.keyboard.disableRotation()
    this.sizes = new ResizeObserver(() => this.map.resize())
    this.sizes.observe(box)
    this.map.on('moveend', () => this.say())
    this.map.on('resize', () => this.say())
    this.map.on('move', () => this.spread())
    this.map.on('click', (e) => tells.picked(e.lngLat.lat, e.lngLat.lng, this.piece(e.point.x, e.point.y)))
    this.map.on('error', (e) => { if (!/abort/i.test(e.error?.message ?? '')) tells.failed(e.error?.message ?? 'The map could not be drawn.') })
    box.addEventListener('keydown', (e) => { if (unheard(e)) e.stopPropagation() }, true) // before the map's own plus and minus
    this.map.getCanvas().addEventListener('keydown', (e) => {
      if (e.key !== 'Enter') return
      e.preventDefault()
      const c = this.map.getCenter()
      const p = this.map.project(c)
      tells.picked(c.lat, c.lng, this.piece(p.x, p.y))
    })
    this.ready = new Promise((done) => { this.map.once('style.load', () => { if (!this.closed) { this.lay(); done() } }) })
  }

  private say() {
    const c = this.map.getCenter()
    const zoom = this.map.getZoom()
    this.tells.moved({ lat: c.lat, lon: c.lng, zoom }, 40075016.686 * Math.cos(c.lat * Math.PI / 180) / 512 / 2 ** zoom)
  }

  // lay puts down all layers but the cells, which come with a view.
  private lay() {
    const m = this.map, l = this.look
    for (const id of ['boundaries', 'passes', 'ways']) m.addSource(id, { type: 'geojson', data: nothing })
    m.addLayer({ id: 'passes', type: 'line', source: 'passes', paint: { 'line-width': 1 } })
    m.addLayer({ id: 'boundaries', type: 'line', source: 'boundaries', layout: { 'line-join': 'round' }, paint: { 'line-color': l.ink, 'line-width': 1.6 } })
    m.addLayer({ id: 'ways-edge', type: 'line', source: 'ways', layout: { 'line-cap': 'round', 'line-join': 'round' }, paint: { 'line-color': l.ink, 'line-width': ['interpolate', ['linear'], ['zoom'], 13, 2, 16, 4.4, 18, 6] } })
    m.addLayer({ id: 'ways', type: 'line', source: 'ways', layout: { 'line-cap': 'round', 'line-join': 'round' }, paint: { 'line-color': l.paper, 'line-width': ['interpolate', ['linear'], ['zoom'], 13, 0.9, 16, 2, 18, 3] } })
    m.addSource('patches', { type: 'geojson', data: nothing })
    const wide = (a: number, b: number): DataDrivenPropertyValueSpecification<number> => ['interpolate', ['linear'], ['zoom'], 12, a, 17, b]
    for (const k of patches) {
      const of = { source: 'patches', filter: ['==', ['get', 'kind'], k] as FilterSpecification }
      m.addLayer({ id: k + '-ground', type: 'fill', ...of, paint: { 'fill-antialias': false, 'fill-opacity': k === 'left' ? 0.9 : 0.6 } }, 'ways-edge')
      m.addLayer({ id: k + '-fill', type: 'fill', ...of, paint: { 'fill-antialias': false, 'fill-pattern': k } }, 'ways-edge')
      m.addLayer({ id: k + '-casing', type: 'line', ...of, layout: { 'line-join': 'round' }, paint: { 'line-width': wide(4.5, 7) } }, 'ways-edge')
      m.addLayer({ id: k + '-line', type: 'line', ...of, layout: { 'line-join': 'round' }, paint: { 'line-width': wide(k === 'left' ? 1.8 : 2.6, k === 'left' ? 2.6 : 4.6) } }, 'ways-edge')
      if (k === 'twice') m.addLayer({ id: 'twice-core', type: 'line', ...of, layout: { 'line-join': 'round' }, paint: { 'line-width': wide(0.9, 1.6) } }, 'ways-edge')
      // Too narrow for what fills it, a piece has its mark along its outline.
      m.addLayer({ id: k + '-marks', type: 'symbol', ...of, minzoom: 13, layout: { 'symbol-placement': 'line', 'symbol-spacing': 70, 'icon-image': k + '-mark', 'icon-rotation-alignment': 'viewport', 'icon-padding': 1 } })
    }
    m.addLayer({ id: 'patch', type: 'line', source: 'patches', filter: ['==', ['get', 'id'], ''], layout: { 'line-join': 'round' }, paint: { 'line-width': wide(8.5, 12.5) } }, 'left-ground')
    this.tint()
    this.pattern()
  }

  // tint gives the pieces of ground the colours of the theme.
  private tint() {
    const m = this.map, l = this.look
    for (const k of patches) {
      m.setPaintProperty(k + '-ground', 'fill-color', l.paper)
      m.setPaintProperty(k + '-casing', 'line-color', l.paper)
      m.setPaintProperty(k + '-line', 'line-color', k === 'left' ? l.ink : l.accent)
    }
    m.setPaintProperty('twice-core', 'line-color', l.paper)
    m.setPaintProperty('patch', 'line-color', l.accent)
  }

  // cover draws ground that was not planted, and ground planted twice, over the
  // cells; one of them may be the one that is told of.
  cover(of: Patches | null, chosen: string) {
    void this.ready.then(() => {
      if (this.closed) return
      ;(this.map.getSource('patches') as GeoJSONSource).setData((of ?? nothing) as never)
      this.map.setFilter('patch', ['==', ['get', 'id'], chosen])
    })
  }

  // piece gives the smallest piece of ground at a place of the screen or beside it.
  private piece(x: number, y: number): string | undefined {
    const layers = patches.flatMap((k) => [k + '-fill', k + '-casing']).filter((l) => this.map.getLayer(l))
    const on = layers.length > 0 ? this.map.queryRenderedFeatures([[x - reach, y - reach], [x + reach, y + reach]], { layers }) : []
    on.sort((a, b) => Number(a.properties['area_m2']) - Number(b.properties['area_m2']))
    return on[0]?.properties['id'] as string | undefined
  }

  private pattern() {
    const ratio = Math.max(1, Math.round(devicePixelRatio))
    for (const k of patches) {
      for (const [id, image] of [[k, stamp(k, 13, ratio, this.look.ink, '')], [k + '-mark', stamp(k, 16, ratio, k === 'left' ? this.look.ink : this.look.accent, this.look.paper)]] as const) {
        if (this.map.hasImage(id)) this.map.removeImage(id)
        this.map.addImage(id, image, { pixelRatio: ratio })
      }
    }
    if (this.map.hasImage('hatch')) this.map.removeImage('hatch')
    const [light, dark] = lightFirst(this.look.paper, this.look.ink)
    this.map.addImage('hatch', hatch(8 * ratio, light, dark), { pixelRatio: ratio })
  }

  private unlay() {
    for (const id of ['cells', 'few']) if (this.map.getLayer(id)) this.map.removeLayer(id)
    if (this.map.getSource('cells')) this.map.removeSource('cells')
  }

  // show draws a view; tiles is the address of its tiles.
  async show(view: View, tiles: string, chosen: string, fit: boolean) {
    await this.ready
    if (this.closed) return
    const m = this.map, first = this.view === null
    this.view = view
    if (tiles !== this.tiles || !m.getSource('cells')) {
      this.tiles = tiles
      this.unlay()
      m.addSource('cells', { type: 'vector', tiles: [tiles], minzoom: 0, maxzoom: view.max_zoom })
      m.addLayer({ id: 'cells', type: 'fill', source: 'cells', 'source-layer': 'cells', paint: { 'fill-antialias': false, 'fill-color': this.colour() } }, 'passes')
      m.addLayer({ id: 'few', type: 'fill', source: 'cells', 'source-layer': 'cells', filter: ['==', ['get', 'few'], true], paint: { 'fill-antialias': false, 'fill-pattern': 'hatch' } }, 'passes')
    } else m.setPaintProperty('cells', 'fill-color', this.colour())
    ;(m.getSource('boundaries') as GeoJSONSource).setData(view.boundaries as never)
    ;(m.getSource('passes') as GeoJSONSource).setData(view.passes as never)
    this.lines()
    this.choose(chosen)
    if (fit || first && this.map.getZoom() <= farthest) this.fit(seen(view, chosen, !fit))
    if (first) m.once('idle', () => { if (!this.closed) this.tells.drawn() })
  }

  // lines shows passes near to in the colour of paper between their cells, and
  // where nothing was logged from afar too.
  private lines() {
    const bare = this.look.classes.length === 0
    this.map.setLayerZoomRange('passes', bare ? 0 : 14.5, 24) // what is not seen is not cut into tiles
    this.map.setPaintProperty('passes', 'line-color', bare ? this.look.edge : this.look.paper)
    this.map.setPaintProperty('passes', 'line-opacity', bare ? 1 : ['interpolate', ['linear'], ['zoom'], 14.5, 0, 16, 0.5, 18, 0.8])
  }

  private colour(): DataDrivenPropertyValueSpecification<string> {
    const froms = (this.view?.legend.classes ?? []).slice(1).map((c) => c.from ?? 0)
    return step(this.look.classes, froms) as DataDrivenPropertyValueSpecification<string>
  }

  // wear takes on the colours of a theme or of another measure.
  async wear(look: Look) {
    this.look = look
    await this.ready
    if (this.closed) return
    const m = this.map
    m.setPaintProperty('paper', 'background-color', look.paper)
    this.lines()
    m.setPaintProperty('boundaries', 'line-color', look.ink)
    m.setPaintProperty('ways-edge', 'line-color', look.ink)
    m.setPaintProperty('ways', 'line-color', look.paper)
    if (m.getLayer('cells')) m.setPaintProperty('cells', 'fill-color', this.colour())
    this.tint()
    this.pattern()
  }

  // choose marks one finding and draws the way that it was on.
  choose(id: string) {
    for (const m of this.marks) m.remove()
    this.marks = []
    const all = this.view?.findings ?? []
    all.forEach((f, i) => {
      const b = document.createElement('button')
      b.className = 'pin'
      b.append(Object.assign(document.createElement('span'), { textContent: String(i + 1) })) // as the list numbers it
      b.type = 'button'
      b.title = f.sentence
      b.setAttribute('aria-label', `${i + 1}: ${f.sentence}`)
      b.setAttribute('aria-pressed', String(f.id === id))
      b.addEventListener('click', (e) => { e.stopPropagation(); this.tells.chose(f.id) })
      this.marks.push(new Marker({ element: b }).setLngLat([f.lon, f.lat]).addTo(this.map))
    })
    this.spread()
    const f = all.find((x) => x.id === id)
    void this.ready.then(() => { if (!this.closed) void (this.map.getSource('ways') as GeoJSONSource).setData((f ? { type: 'Feature', properties: {}, geometry: f.way } : nothing) as never) })
  }

  // spread moves marks that would lie upon each other side by side, and those that
  // would hide a field beside it, with a line to their place.
  private spread() {
    const wide = document.documentElement.dataset.dress === 'cab' ? 64 : 36
    const taken: [number, number][] = []
    const width = this.map.getContainer().clientWidth
    const fields = new Map(this.view?.by_field.filter((f) => f.bounds.length === 4).map((f) => {
      const [west, south, east, north] = f.bounds as [number, number, number, number]
      const a = this.map.project([west, north]), b = this.map.project([east, south])
      return [f.field, [a.x, a.y, b.x, b.y] as Frame]
    }))
    this.marks.forEach((m, i) => {
      const p = this.map.project(m.getLngLat())
      const field = fields.get(this.view?.findings[i]?.field ?? '')
      const x = field ? beside(p.x, field, wide, width) : p.x
      const dx = x - p.x + aside(x, p.y, taken, wide, width)
      taken.push([p.x + dx, p.y])
      m.setOffset([dx, 0])
      const e = m.getElement()
      e.classList.toggle('led', dx !== 0)
      e.style.setProperty('--lead', `${dx}px`)
      e.style.zIndex = String(this.marks.length - i) // lines lie under the marks before
    })
  }

  pin(at: { lat: number, lon: number } | null) {
    this.spot?.remove()
    this.spot = null
    if (!at) return
    const e = document.createElement('div')
    e.className = 'spot'
    e.setAttribute('aria-hidden', 'true')
    e.setAttribute('aria-label', '')
    this.spot = new Marker({ element: e }).setLngLat([at.lon, at.lat]).addTo(this.map)
  }

  // whole shows all that was planted.
  whole() { this.fit(this.view?.bounds ?? []) }

  // aim looks at west, south, east and north.
  aim(box: number[]) { this.fit(box) }

  // fit shows west, south, east and north.
  private fit(box: number[]) {
    if (box.length === 4) this.map.fitBounds(new LngLatBounds(box as [number, number, number, number]), { padding: margin, maxZoom: nearest, animate: false })
  }

  zoom(by: number) { this.map.zoomTo(this.map.getZoom() + by, { animate: !matchMedia('(prefers-reduced-motion: reduce)').matches, duration: 200 }) }

  // bring lays a file of the user's own under the cells. It is read here, a
  // piece at a time, and goes nowhere.
  async bring(file: File): Promise<string> {
    await this.ready
    const p = new PMTiles(new FileSource(file))
    const head = await p.getHeader()
    this.unbring()
    files.add(p)
    const url = 'pmtiles://' + p.source.getKey()
    const layers: LayerSpecification[] = []
    if (head.tileType === 1) {
      const meta = await p.getMetadata() as { vector_layers?: { id: string }[] }
      const names = (meta.vector_layers ?? []).map((l) => l.id)
      if (names.length === 0) throw new Error('The file does not say which layers it holds.')
      this.map.addSource('backdrop', { type: 'vector', url })
      for (const n of names) {
        layers.push({ id: 'backdrop-fill-' + n, type: 'fill', source: 'backdrop', 'source-layer': n, filter: ['==', ['geometry-type'], 'Polygon'], paint: { 'fill-color': this.look.edge, 'fill-opacity': 0.12 } })
        layers.push({ id: 'backdrop-line-' + n, type: 'line', source: 'backdrop', 'source-layer': n, filter: ['!=', ['geometry-type'], 'Point'], paint: { 'line-color': this.look.edge, 'line-width': 1 } })
      }
    } else if (head.tileType >= 2 && head.tileType <= 5) {
      this.map.addSource('backdrop', { type: 'raster', url, tileSize: 256 })
      layers.push({ id: 'backdrop', type: 'raster', source: 'backdrop', paint: { 'raster-fade-duration': 0 } })
    } else throw new Error('Its tiles are of a kind that cannot be drawn: pictures and vector tiles can.')
    for (const l of layers) { this.map.addLayer(l, this.map.getLayer(under) ? under : 'passes'); this.backdrop.push(l.id) }
    return file.name
  }

  unbring() {
    for (const id of this.backdrop) if (this.map.getLayer(id)) this.map.removeLayer(id)
    if (this.map.getSource('backdrop')) this.map.removeSource('backdrop')
    this.backdrop = []
    files.tiles.clear()
  }

  close() {
    this.closed = true
    this.sizes.disconnect()
    files.tiles.clear()
    this.map.remove()
  }
}
