// Ground: the fields in one quantity at a time.
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { query } from '../api'
import { patchName, Swatch, type PatchKind } from '../draw/patches'
import { label } from '../draw/scale'
import { Choice, fieldName, Title, Wait, Wide, Wrong } from '../parts'
import { go, stay, usePlace } from '../route'
import { theme, useData, useStore, type Data } from '../state'
import { bar, colours, hatch, lightFirst } from './colour'
import type { Engine, Look } from './engine'
import { Planted } from './planted'
import { aimed, at as lies, boxOf, byItself, fitted, outline, paint, patchKinds, seen, shownOver, wanted, type Box, type Camera } from './place'

const choices = ['planter', 'field', 'from', 'to'] as const

// map fetches what draws, half of the page's bytes.
const map = () => import('./engine')

// pause is how long the map waits for the first picture, in milliseconds: both
// want the computer for themselves, and the picture is there sooner.
const pause = 400

export function Ground() {
  const { q } = usePlace()
  const store = useStore()
  const chosen = Object.fromEntries(choices.map((k) => [k, q.get(k) ?? undefined]))
  const asked = { measure: q.get('measure') ?? undefined, ...chosen }
  const d = useData<api.Ground>('/ground' + query({ ...asked, finding: q.get('finding') ?? undefined }))
  const first = useFirst(asked, q)
  // What was drawn stays until the next is there.
  const last = useRef<api.Ground | null>(null)
  if (d.data) last.current = d.data
  if (store.book && store.book.days.length === 0) return <Nothing title="No ground yet.">Bring the logs of a day, and the fields are drawn here, stretch by stretch.</Nothing>
  if (d.error && !d.data) return <><Title page="Ground">Ground</Title><div class="near"><Wrong text={d.error} again={d.again} /></div></>
  const v = d.data ?? last.current
  if (!v) return <><Title page="Ground">Ground</Title><div class="ground gap"><div class="field" data-pictured={first.pictured ? '' : undefined}><div class="map" /><Coming view={null} finding="" first={first} /></div></div></>
  if (v.days.length > 0 && v.bounds.length === 0 && !chosen.field && !chosen.from && !chosen.to && !chosen.planter) {
    return <Nothing title="Nobody logged where it was.">{v.notes.join(' ')} Bring the log of a receiver, and the ground is drawn.</Nothing>
  }
  return <Shown v={v} q={q} asked={asked} chosen={chosen} fresh={d.data !== null} first={first} />
}

// Picture is the ground as the server paints it, by the classes of its legend.
interface Picture { w: number, h: number, box: Box, fitted: Box, signed: boolean, classes: number, pixels: Uint8Array }

// First is what is shown until the map has drawn.
interface First {
  aim: Camera | null // that the map begins with
  picture: Picture | null
  pictured: boolean // it was seen
  waits: boolean // the map, for the picture
  sized(w: number, h: number): void
  painted(): void
  drawn: boolean
  setDrawn(is: boolean): void
}

// useFirst asks for the first picture as soon as its size is known, beside the
// ground itself.
function useFirst(asked: Asked, q: URLSearchParams): First {
  const choice = choices.map((k) => asked[k]).join('|')
  const begun = useRef({ choice, aim: camera(q.get('at')) })
  const aim = begun.current.choice === choice ? begun.current.aim : null // the address follows the map
  const [size, setSize] = useState<[number, number] | null>(null)
  const [drawn, setDrawn] = useState(false)
  const [pictured, setPictured] = useState(false)
  const [late, setLate] = useState(false)
  const [got, setGot] = useState<{ path: string, picture: Picture } | null>(null)
  const path = size && !drawn ? '/ground/picture' + query({ ...asked, finding: q.get('finding') ?? undefined, ...wanted(aim, ...size) }) : ''
  useLayoutEffect(() => { // before the frame: every one counts here
    if (!path) return setGot(null)
    const c = new AbortController()
    api.columns<Omit<Picture, 'pixels'>>(path, c.signal).then(({ meta, of }) => {
      if (c.signal.aborted) return
      if (meta.box.length === 4) setGot({ path, picture: { ...meta, pixels: of['class'] as Uint8Array } })
      else setLate(true)
    }, () => setLate(true)) // the map is there without it
    return () => c.abort()
  }, [path])
  useEffect(() => { const t = setTimeout(() => setLate(true), pause); return () => clearTimeout(t) }, [])
  const waits = !pictured && !late
  useEffect(() => { if (!waits) void map().catch(() => {}) }, [waits]) // the map says it, when it cannot be had
  return {
    aim, picture: got?.path === path ? got.picture : null, pictured, waits, drawn, setDrawn,
    sized: (w, h) => setSize((s) => s ?? [w, h]), painted: () => setPictured(true),
  }
}

function Nothing({ title, children }: { title: string, children: preact.ComponentChildren }) {
  return <><Title page="Ground">{title}</Title><p class="near">{children}</p><p class="near"><a class="btn" href="/bring">Bring logs</a></p></>
}

type Asked = Record<string, string | undefined>

// camera reads "42.03001,-93.61,15.2" of the address.
function camera(text: string | null): Camera | null {
  const [lat, lon, zoom] = (text ?? '').split(',').map(Number)
  return lat !== undefined && lon !== undefined && zoom !== undefined && [lat, lon, zoom].every(Number.isFinite) && Math.abs(lat) < 85 ? { lat, lon, zoom } : null
}

function spotOf(text: string | null): { lat: number, lon: number } | null {
  const [lat, lon] = (text ?? '').split(',').map(Number)
  return lat !== undefined && lon !== undefined && text && Number.isFinite(lat) && Number.isFinite(lon) ? { lat, lon } : null
}

function Shown({ v, q, asked, chosen, fresh, first }: { v: api.Ground, q: URLSearchParams, asked: Asked, chosen: Asked, fresh: boolean, first: First }) {
  const store = useStore()
  const table = q.has('table')
  const [mpp, setMpp] = useState(0)
  const [own, setOwn] = useState('')
  const [trouble, setTrouble] = useState('')
  const engine = useRef<Engine | null>(null)
  const shades = colours(v.legend.classes.length, v.legend.signed, theme())
  const days = store.book?.days ?? []
  const dayName = (d: string) => days.find((x) => x.day === d)?.label ?? d
  const any = (text: string) => ({ value: '', text })
  const set = (k: string) => (x: string) => stay({ [k]: x, at: undefined, spot: undefined })
  const finding = q.get('finding') ?? ''
  const found = v.findings.find((f) => f.id === finding)
  const spot = spotOf(q.get('spot'))
  const at = useData<api.GroundAt>(spot ? '/ground/at' + query({ lat: spot.lat, lon: spot.lon, ...asked }) : '')
  const planters = store.book?.planters ?? []
  const planted = useData<api.FieldsPlanted>('/ground/fields' + query(chosen))
  const before = useRef<api.FieldsPlanted | null>(null) // stays until the next is there
  if (planted.data) before.current = planted.data
  const over = shownOver(q, found)
  const drawn = useData<api.Patches>(over.length > 0 ? '/ground/patches' + query({ field: chosen.field, kind: over.length === 1 ? over[0] : undefined }) : '')
  const patches = over.length > 0 ? drawn.data : null
  const patch = patches?.features.find((p) => p.properties.id === (q.get('patch') ?? ''))?.properties
  const toggle = (k: PatchKind) => {
    const on = !over.includes(k)
    stay({ [k]: on === byItself(k, found) ? undefined : on ? '1' : '0', patch: undefined })
  }
  // A finding brings along what shows it, also where that was switched off.
  const choose = (id: string) => stay({ finding: id, spot: undefined, patch: undefined, left: q.get('left') === '0' ? undefined : q.get('left') ?? undefined, twice: q.get('twice') === '0' ? undefined : q.get('twice') ?? undefined })
  const empty = v.bounds.length === 0
  return <>
    <Title page="Ground">{v.title}</Title>
    <p class="cap">{empty ? 'Nothing was planted there on those days.' : v.says ? `${v.says}.` : 'Nothing was logged of it; the lines are the passes.'} {v.notes.join(' ')}{v.opens_on && !first.aim && !finding && ` Shown first is ${fieldName(v.opens_on)}; the fields lie far apart.`}</p>
    <div class="pick near">
      {v.measures.length > 0 && <Choice label="Quantity" value={v.measure.id} set={(x) => stay({ measure: x })} of={(v.measures.some((m) => m.id === v.measure.id) ? v.measures : [v.measure, ...v.measures]).map((m) => ({ value: m.id, text: m.label }))} />}
      {v.fields.length > 1 && <Choice label="Field" value={chosen.field ?? ''} set={set('field')} of={[any('all fields'), ...v.fields.map((f) => ({ value: f, text: f }))]} />}
      {planters.length > 1 && <Choice label="Planter" value={chosen.planter ?? ''} set={set('planter')} of={[any('all'), ...planters.map((f) => ({ value: f, text: f }))]} />}
      {v.days.length > 1 && <Choice label="From" value={chosen.from ?? ''} set={set('from')} of={[any('first day'), ...v.days.map((f) => ({ value: f, text: dayName(f) }))]} />}
      {v.days.length > 1 && <Choice label="To" value={chosen.to ?? ''} set={set('to')} of={[any('last day'), ...v.days.map((f) => ({ value: f, text: dayName(f) }))]} />}
      {(before.current?.fields.length ?? 0) > 0 && <div class="buttons" role="group" aria-label="Drawn over it">
        {patchKinds.map((k) => <button key={k} aria-pressed={over.includes(k)} onClick={() => toggle(k)}>{patchName[k]}</button>)}
      </div>}
    </div>
    <div class="ground near">
      <div>
        <Field v={v} chosen={chosen} shades={shades} camera={camera(q.get('at'))} finding={finding} spot={spot} patches={patches} patch={patch?.id ?? ''} choose={choose} engine={engine} fresh={fresh} first={first} moved={setMpp} trouble={setTrouble} />
        <div class="under">
          {first.picture ? <span class="bar small soft" role="status">{drawing(v)}</span> : <Bar mpp={mpp} />}
          <div class="buttons">
            <button onClick={() => engine.current?.zoom(1)} title="Closer +">Closer</button>
            <button onClick={() => engine.current?.zoom(-1)} title="Farther −">Farther</button>
            <button onClick={() => engine.current?.whole()} title="All that was planted">{v.opens_on ? 'All fields' : 'Whole'}</button>
          </div>
        </div>
        {trouble && <p class="near" role="alert">{trouble}</p>}
        <div role="status" aria-live="polite">
          {patch && <p class="near"><b>{patch.says}.</b> {patch.field}.</p>}
          {spot ? !at.error && <Wait of={at}>{(a) => <At a={a} />}</Wait>
            : found ? null : <p class="tip near">Touch the ground, or press Enter for its middle, and it says what is there.</p>}
          {found && <p class="near">{found.sentence}</p>}
        </div>
        {spot && at.error && <Wait of={at}>{(a) => <At a={a} />}</Wait>}
        {patch && <div class="buttons near">{patch.passes.map((x) => <a class="btn" key={x.key} href={'/ribbon' + query({ pass: x.key, finding: finding || undefined })}>{x.label.charAt(0).toUpperCase() + x.label.slice(1)}</a>)}
          {!(spot && at.data?.found) && <button onClick={() => stay({ patch: undefined, spot: undefined })}>Close</button>}</div>}
        {spot && at.data?.found && <Lead a={at.data} finding={finding} />}
        {found && <p><a href={'/finding/' + found.id}>To the finding</a> · <a href="" onClick={(e) => { e.preventDefault(); stay({ finding: undefined }) }}>Not this one</a></p>}
      </div>
      <aside aria-label="Legend and findings">
        <Legend v={v} shades={shades} />
        {over.length > 0 && <Pieces over={over} of={drawn} patch={patch?.id ?? ''} engine={engine} />}
        {v.findings.length > 0 && <section class="gap still">
          <h2>{v.findings.length === 1 ? 'One finding lies here' : `${v.findings.length} findings lie here`}</h2>
          <ol class="lies">{v.findings.map((f, i) => <li key={f.id}><button class="quiet" aria-pressed={f.id === finding} title={f.sentence} onClick={() => choose(f.id)}><b>{i + 1}</b><span>{f.sentence}</span></button></li>)}</ol>
        </section>}
        <div class="buttons gap">
          <button class="still" aria-pressed={table} onClick={() => stay({ table: table ? '' : '1' })}>As a table</button>
          <a class="btn still" href={'/api/v1/ground.csv' + query({ ...asked, measure: v.measure.id })} download="ground.csv">CSV</a>
        </div>
        <Own name={own} engine={engine} set={setOwn} trouble={setTrouble} />
      </aside>
      {before.current && <Planted p={before.current} asked={chosen} />}
    </div>
    {table && <Table v={v} />}
  </>
}

// Pieces is the legend of the ground drawn over the cells, with its sizes, and
// leads to the largest.
function Pieces({ over, of, patch, engine }: { over: PatchKind[], of: Data<api.Patches>, patch: string, engine: { current: Engine | null } }) {
  return <div class="gap pieces">
    {of.error && <Wrong text={of.error} again={of.again} />}
    {of.data && over.map((k) => {
      const all = of.data!.features.map((f) => f.properties).filter((p) => p.kind === k)
      return <section key={k} aria-label={patchName[k]}>
        <p class="swatched"><Swatch kind={k} /><span><b>{patchName[k]}</b>: {of.data!.sums.find((s) => s.kind === k)?.says}</span></p>
        {all.length > 0 && <ol class="lies still" aria-label={patchName[k] + ', the largest pieces'}>{all.slice(0, listed).map((p) => <li key={p.id}><button class="quiet" aria-pressed={p.id === patch} onClick={() => { engine.current?.aim(p.bounds); stay({ patch: p.id, spot: undefined }) }}><span>{p.size}, {p.shape}</span></button></li>)}</ol>}
      </section>
    })}
    {of.data && of.data.more > 0 && <p class="small">{of.data.more.toLocaleString('en-US')} smaller pieces are not drawn.</p>}
  </div>
}

// listed is how many of the largest pieces are listed.
const listed = 3

// Field holds the map; what it draws with is loaded with the first one.
function Field(p: {
  v: api.Ground, chosen: Asked, shades: string[], camera: Camera | null, finding: string, spot: { lat: number, lon: number } | null,
  patches: api.Patches | null, patch: string, choose: (finding: string) => void, engine: { current: Engine | null }, fresh: boolean, first: First, moved: (mpp: number) => void, trouble: (t: string) => void,
}) {
  const box = useRef<HTMLDivElement>(null)
  const [state, setState] = useState<'coming' | 'there' | 'none'>('coming')
  const now = theme()
  const { drawn, setDrawn, waits } = p.first
  const choose = useRef(p.choose)
  choose.current = p.choose
  const kept = useRef<PatchKind[]>([])
  kept.current = p.patches ? shownOver(new URLSearchParams(location.search), p.v.findings.find((f) => f.id === p.finding)) : []
  useEffect(() => {
    if (waits) return
    let gone = false
    let late = 0
    void map().then(({ Engine }) => {
      if (gone || !box.current) return
      p.engine.current = new Engine(box.current, look(p.shades), p.camera, {
        moved: (c, mpp) => {
          p.moved(mpp)
          clearTimeout(late)
          late = window.setTimeout(() => { if (!gone) stay({ at: [c.lat.toFixed(6), c.lon.toFixed(6), c.zoom.toFixed(2)].join(',') }) }, 400)
        },
        picked: (lat, lon, patch) => {
          const on = Object.fromEntries(kept.current.map((k) => [k, '1'])) // what shows a finding stays drawn where one goes on from it
          stay({ spot: `${lat.toFixed(7)},${lon.toFixed(7)}`, patch, finding: undefined, ...on })
        },
        chose: (finding) => choose.current(finding),
        drawn: () => { if (!gone) setDrawn(true) },
        failed: p.trouble,
      })
      setState('there')
    }).catch((e: Error) => {
      setState('none')
      p.trouble(/webgl/i.test(e.message) ? 'This browser cannot draw the ground: its graphics (WebGL 2) are switched off. The table says the same by field.' : e.message)
    })
    return () => {
      gone = true
      clearTimeout(late)
      setDrawn(false)
      p.engine.current?.close()
      p.engine.current = null
    }
  }, [waits])
  const tiles = location.origin + '/api/v1/ground/tiles/' + p.v.measure.id + '/{z}/{x}/{y}' + query({ ...p.chosen, v: p.v.tiles })
  const choice = choices.map((k) => p.chosen[k]).join('|')
  const fitted = useRef<string | null>(null)
  useEffect(() => {
    if (state !== 'there' || !p.fresh) return
    const e = p.engine.current
    if (!e) return
    const fit = fitted.current !== null && fitted.current !== choice
    fitted.current = choice
    p.trouble('')
    void e.wear(look(p.shades)).then(() => e.show(p.v, tiles, p.finding, fit))
  }, [state, p.v, tiles, p.fresh, now])
  useEffect(() => { if (state === 'there') p.engine.current?.choose(p.finding) }, [p.finding])
  useEffect(() => { if (state === 'there') p.engine.current?.cover(p.patches, p.patch) }, [state, p.patches, p.patch])
  const at = p.spot ? `${p.spot.lat},${p.spot.lon}` : ''
  useEffect(() => { if (state === 'there') p.engine.current?.pin(p.spot) }, [at, state])
  return <div class="field" data-pictured={p.first.pictured ? '' : undefined} data-drawn={drawn ? '' : undefined}><div ref={box} class={drawn ? 'map' : 'map unseen'} />{!drawn && state !== 'none' && <Coming view={p.v} finding={p.finding} first={p.first} />}</div>
}

// look reads the colours of the theme.
function look(classes: string[]): Look {
  const css = getComputedStyle(document.documentElement)
  const of = (k: string) => { const c = css.getPropertyValue(k).trim(); return c.length === 4 ? '#' + [...c.slice(1)].map((x) => x + x).join('') : c }
  return { paper: of('--paper'), ink: of('--ink'), edge: of('--edge'), accent: of('--accent'), classes }
}

// Coming stands where the map will be until it is drawn: the first picture and the
// fields' outlines, where they will lie, and what is awaited.
function Coming({ view, finding, first }: { view: api.Ground | null, finding: string, first: First }) {
  const ref = useRef<HTMLDivElement>(null), canvas = useRef<HTMLCanvasElement>(null)
  const [[w, h], setSize] = useState<[number, number]>([0, 0])
  useLayoutEffect(() => {
    const e = ref.current!
    const measure = () => { setSize([e.clientWidth, e.clientHeight]); first.sized(e.clientWidth, e.clientHeight) }
    measure()
    const o = new ResizeObserver(measure)
    o.observe(e)
    return () => o.disconnect()
  }, [])
  const pic = first.picture, now = theme()
  const box = view && view.bounds.length === 4 ? boxOf(seen(view, finding, true)) : pic?.fitted
  const frame = w > 0 && (first.aim ? aimed(first.aim, w, h) : box && fitted(box, w, h)) || null
  useLayoutEffect(() => {
    const on = canvas.current?.getContext('2d', { willReadFrequently: true })
    if (!pic || !on) return
    const l = look(colours(pic.classes, pic.signed, now))
    on.putImageData(new ImageData(paint(pic.pixels, pic.w, l.classes, hatch(8, ...lightFirst(l.paper, l.ink))), pic.w, pic.h), 0, 0)
    let after = 0
    const seen = requestAnimationFrame(() => { after = window.setTimeout(first.painted) }) // behind the frame that shows it
    return () => { cancelAnimationFrame(seen); clearTimeout(after) }
  }, [pic, now, frame !== null])
  const shape = view && frame ? outline(view, frame) : null
  const [left, top] = pic && frame ? lies(frame, pic.box[0], pic.box[1]) : [0, 0]
  return <div ref={ref} class="coming" role={pic ? undefined : 'status'}>
    {pic && frame && <canvas ref={canvas} width={pic.w} height={pic.h} aria-hidden="true" style={{ left, top, width: (pic.box[2] - pic.box[0]) * frame.scale, height: (pic.box[3] - pic.box[1]) * frame.scale }} />}
    {shape && <svg viewBox={`0 0 ${w} ${h}`} aria-hidden="true">
      {!pic?.classes && <path class="way" d={shape.passes} />}
      <path class="edge" d={shape.fields} />
    </svg>}
    {!pic && <div><p>{view ? drawing(view) : 'Putting the ground of the season together'}</p><progress aria-label="The ground is being drawn" /></div>}
  </div>
}

function drawing(v: api.Ground): string {
  const passes = v.passes.features.length, fields = v.by_field.length - 1
  return `Drawing ${passes === 1 ? 'one pass' : `${passes.toLocaleString('en-US')} passes`} on ${fields === 1 ? 'one field' : `${fields} fields`}`
}

function Bar({ mpp }: { mpp: number }) {
  const units = useStore().book?.units ?? 'us'
  if (!(mpp > 0)) return <span />
  const b = bar(mpp, 130, units)
  return <span class="bar"><i style={{ width: `${b.metres / mpp}px` }} />{b.says}</span>
}

function Legend({ v, shades }: { v: api.Ground, shades: string[] }) {
  const l = v.legend
  const classes = l.classes.map((c, i) => ({ ...c, colour: shades[i]! })).reverse()
  return <>
    <p class="small">{l.unit !== '%' && <b>{l.unit}</b>}{l.unit !== '%' && ', '}{l.of}</p>
    {classes.length > 0 && <ul class="legend">
      {classes.map((c) => <li key={c.says}><i style={{ background: c.colour }} />{c.says}</li>)}
      <li><i class="few" />{l.few}</li>
    </ul>}
  </>
}

// At says what is at a place.
function At({ a }: { a: api.GroundAt }) {
  return <div class="near at">
    <p><b>{a.says}</b></p>
    {a.found && <dl>{a.values.map((x) => <div key={x.measure}><dt>{x.label}</dt><dd>{x.says}</dd></div>)}</dl>}
  </div>
}

// Lead goes on from a place, or back.
function Lead({ a, finding }: { a: api.GroundAt, finding: string }) {
  return <div class="buttons near"><button class="first" onClick={() => go('/ribbon' + query({ pass: a.pass, row: a.row, from: a.from_m.toFixed(1), to: a.to_m.toFixed(1), finding: finding || undefined }))}>See it on the ribbon</button>
    <button onClick={() => stay({ spot: undefined, patch: undefined })}>Close</button></div>
}

// Own lays a background of the user's own under the cells.
function Own({ name, engine, set, trouble }: { name: string, engine: { current: Engine | null }, set: (n: string) => void, trouble: (t: string) => void }) {
  const input = useRef<HTMLInputElement>(null)
  const bring = async (f: File | undefined) => {
    if (!f) return
    trouble('')
    try {
      set(await engine.current?.bring(f) ?? '')
    } catch (e) {
      set('')
      trouble(`${f.name} cannot be laid under the ground: it is not a PMTiles file, or damaged. (${(e as Error).message})`)
    }
  }
  return <div class="gap still">
    <input ref={input} class="hush" type="file" accept=".pmtiles" tabIndex={-1} aria-label="Background file" onChange={(e) => { void bring(e.currentTarget.files?.[0]); e.currentTarget.value = '' }} />
    {name ? <><p class="small">Under it: {name}</p><div class="buttons near"><button onClick={() => { engine.current?.unbring(); set('') }}>Take it off</button></div></>
      : <><div class="buttons"><button onClick={() => input.current?.click()}>Lay a map under it</button></div><p class="small soft near">A PMTiles file of your own. It stays in this browser.</p></>}
  </div>
}

function Table({ v }: { v: api.Ground }) {
  const a = v.measure.axis
  const cell = (x: number | null) => x === null ? '' : label(a, x)
  return <Wide label="The ground as a table" near><table>
    <caption class="hush">{v.title} by field</caption>
    <thead><tr><th>Field</th><th class="n">planted</th><th class="n">{v.measure.label}</th><th class="n">low</th><th class="n">high</th><th>remark</th></tr></thead>
    <tbody>{v.by_field.map((f) => <tr key={f.field}>
      <td>{f.field ? f.field : <b>all</b>}</td><td class="n">{f.area}</td><td class="n">{cell(f.value)}</td><td class="n">{cell(f.low)}</td><td class="n">{cell(f.high)}</td><td>{f.value === null ? 'nothing logged' : f.few ? 'too little to say' : ''}</td>
    </tr>)}</tbody>
  </table></Wide>
}
