// A count at a place: large keys for gloves and one hand. Each touch is kept at once.
import { useEffect, useRef, useState } from 'preact/hooks'
import { Text, Title } from '../parts'
import { keep, kept } from '../state'
import { newID, ofPlace, widthOf as depthOf, perArea, problem, sayPer, wayTo, whole, writeLength, type Entry, type Units } from './count'
import { keeper } from './keep'

export interface Spot { title: string, place: string, why: string, planter: string, rows: number[], lat?: number, lon?: number, expected: number | null }
export interface Setting { book: string, field: string, units: Units, over: number, spacing: number }

// blank is a count at a place before anything is written down.
export function blank(s: Spot, at: Setting): Entry {
  return {
    id: newID(), book: at.book, at: new Date().toISOString(), planter: s.planter, field: at.field, place: s.place, lat: s.lat, lon: s.lon, here: false,
    method: kept('method', 'row') === 'hoop' ? 'hoop' : 'row', rows: s.rows.join(','), length: at.over > 0 ? writeLength(at.over, at.units) : '', counted: String(s.rows.length || 2),
    diameter: kept('hoop', ''), hoops: '1', plants: '', late: '', depths: [], note: '', who: kept('who', ''), units: at.units, state: 'draft', tried: false, why: '', changed: Date.now(),
  }
}

// opened gives what a form begins with: the draft, what has not been sent, or a
// count that takes the place of one that was.
export function opened(all: Entry[], s: Spot, at: Setting): Entry {
  const e = ofPlace(all, at.field, s.place)
  if (!e) return blank(s, at)
  if (e.state === 'draft') return e
  if (e.state === 'refused' || e.state === 'waiting' && !e.tried) return { ...e, state: 'draft' }
  return { ...e, id: newID(), state: 'draft', tried: false, why: '', replaces: e.id, replaced: undefined }
}

export function Form({ spot, at, next, close }: { spot: Spot, at: Setting, next: () => void, close: () => void }) {
  const first = useRef<Entry | null>(null)
  first.current ??= opened(keeper.entries, spot, at)
  const e = keeper.entries.find((x) => x.id === first.current!.id && x.state === 'draft') ?? first.current
  const [depth, setDepth] = useState('')
  const [where, setWhere] = useState('')
  const [wrong, setWrong] = useState('')
  const [more, setMore] = useState(kept('walk-more', 'no') === 'yes')
  const change = (patch: Partial<Entry>) => {
    if (keeper.entries.length === 0) void navigator.storage?.persist?.().catch(() => false) // so that the browser does not clear it when it wants room
    setWrong('')
    const x = { ...e, ...patch, changed: Date.now() }
    first.current = x
    void keeper.put(x)
  }
  const tally = (of: 'plants' | 'late', by: number) => change({ [of]: String(Math.max(0, (whole(e[of]) || 0) + by)) })
  const metric = at.units === 'metric'
  const per = perArea(e, at.spacing)
  const stop = problem(e)
  const addDepth = () => {
    const d = depth.trim()
    if (!d) return
    if (!(problem({ ...e, plants: '', depths: [d] }) === '' && depthGood(d, at.units))) { setWrong(`Depth: “${d}” is no depth. Write it ${metric ? 'as 5' : 'as 2, or as 1 3/4'}.`); return }
    change({ depths: [...e.depths, d] })
    setDepth('')
  }
  const finish = () => {
    const open = depth.trim()
    if (open) { addDepth(); if (!depthGood(open, at.units)) return }
    const x: Entry = { ...e, depths: open ? [...e.depths, open] : e.depths, changed: Date.now() }
    const no = problem(x)
    if (no) { setWrong(no); return }
    const over = keeper.entries.find((k) => k.id === x.replaces)
    const known = keeper.entries.some((k) => k.id === x.id && k.state !== 'draft') || !!x.replaces
    const ready: Entry = { ...x, state: 'waiting', tried: false, why: '', at: known ? x.at : new Date().toISOString(), replaces: over?.state === 'refused' ? undefined : x.replaces }
    keep('method', x.method); keep('who', x.who)
    if (x.diameter) keep('hoop', x.diameter)
    void keeper.put(...over ? [{ ...over, replaced: x.id }, ready] : [ready]).then(() => keeper.send())
    next()
  }
  const here = () => {
    setWhere('Looking for the place…')
    navigator.geolocation.getCurrentPosition((p) => {
      const lat = Number(p.coords.latitude.toFixed(7)), lon = Number(p.coords.longitude.toFixed(7))
      change({ lat, lon, here: true })
      setWhere(`Noted, to within ${Math.round(metric ? p.coords.accuracy : p.coords.accuracy / 0.3048)} ${metric ? 'm' : 'ft'}.${spot.lat === undefined ? '' : ` The place is ${wayTo({ lat, lon }, { lat: spot.lat, lon: spot.lon! }, at.units)}.`}`)
    }, (x) => setWhere('This phone does not say where it is: ' + x.message + '. The count stands without it.'), { enableHighAccuracy: true, timeout: 20_000 })
  }
  const stands = keeper.entries.some((x) => x.id === e.id)
  const len = metric ? 'm' : 'ft', wide = metric ? 'cm' : 'in'
  return <form class="count" aria-label={spot.title} onSubmit={(x) => { x.preventDefault(); finish() }}>
    <Title page="Walk list">{spot.title}</Title>
    {spot.place && <p class="near do-it">{spot.place}.</p>}
    {spot.why && <p class="soft">{spot.why}.</p>}
    {e.replaces && <p class="notice near">This corrects a count that was sent; the one before stays in the logbook.</p>}
    {e.why && <p class="notice bad near" role="alert">Not taken: {e.why}</p>}
    <div class="buttons near two" role="group" aria-label="How it is counted">
      <button type="button" aria-pressed={e.method === 'row'} onClick={() => change({ method: 'row' })}>Length of row</button>
      <button type="button" aria-pressed={e.method === 'hoop'} onClick={() => change({ method: 'hoop' })}>Hoop</button>
    </div>
    <div class="near two">{e.method === 'row'
      ? <><Text label="Length of each row" mode={metric ? 'decimal' : 'text'} value={e.length} set={(length) => change({ length })} beside={len} /><Text label="Rows counted" mode="numeric" value={e.counted} set={(counted) => change({ counted })} /></>
      : <><Text label="Hoop across, inside" mode={metric ? 'decimal' : 'text'} value={e.diameter} set={(diameter) => change({ diameter })} beside={wide} /><Text label="Times laid down" mode="numeric" value={e.hoops} set={(hoops) => change({ hoops })} /></>}</div>
    <div class="tally near">
      <label class="field"><span>Plants</span><input class="big" inputMode="numeric" autocomplete="off" value={e.plants} onInput={(x) => change({ plants: x.currentTarget.value })} /></label>
      <button type="button" aria-label="−1 plant" onClick={() => tally('plants', -1)}>−1</button>
      <button type="button" class="plus" aria-label="+1 plant" onClick={() => tally('plants', 1)}>+1</button>
    </div>
    <p class="per" aria-live="off">{Number.isNaN(per) ? ' ' : `${sayPer(per, at.units).replace('plants ', '')}${spot.expected === null ? '' : `; about ${sayPer(spot.expected * (metric ? 10_000 : 4046.8564224), at.units).replace(/ plants.*/, '')} expected`}`}</p>
    <div class="tally near">
      <label class="field"><span>Late plants of these, two leaves or more behind</span><input class="big" inputMode="numeric" autocomplete="off" value={e.late} onInput={(x) => change({ late: x.currentTarget.value })} /></label>
      <button type="button" aria-label="−1 late plant" onClick={() => tally('late', -1)}>−1</button>
      <button type="button" aria-label="+1 late plant" onClick={() => tally('late', 1)}>+1</button>
    </div>
    <details class="near" open={more} onToggle={(x) => { const o = x.currentTarget.open; if (o !== more) { setMore(o); keep('walk-more', o ? 'yes' : 'no') } }}><summary>Depth, note, who, where I am{beside(e)}</summary>
    <div class="tally near">
      <Text label="Seed depth dug" mode={metric ? 'decimal' : 'text'} value={depth} set={setDepth} beside={wide} />
      <button type="button" onClick={addDepth}>Add</button>
    </div>
    {e.depths.length > 0 && <ul class="depths near" aria-label="Depths dug">{e.depths.map((d, i) => <li key={i}><button type="button" aria-label={`Take depth ${d} ${wide} away`} onClick={() => change({ depths: e.depths.filter((_, k) => k !== i) })}>{d} {wide} ×</button></li>)}</ul>}
    <div class="near"><Text label="Note" value={e.note} set={(note) => change({ note })} /></div>
    <div class="near two"><Text label="Rows by number" value={e.rows} set={(rows) => change({ rows })} /><Text label="Who" value={e.who} set={(who) => change({ who })} /></div>
    {'geolocation' in navigator && <div class="near"><button type="button" onClick={here}>{e.here ? 'Note where I am again' : 'Note where I am'}</button></div>}
    {where && <p class="small soft near" role="status">{where}</p>}
    </details>
    {wrong && <p class="notice bad near" role="alert">{wrong}</p>}
    <div class="last">
      <Kept stands={stands} />
      <div class="buttons"><button class="first" type="submit" aria-disabled={stop !== ''}>Done, next place</button><button type="button" onClick={close}>To the list</button></div>
    </div>
    {stands && e.state === 'draft' && <div class="gap"><button type="button" class="quiet" onClick={() => { void keeper.drop(e.id); close() }}>Throw this away</button></div>}
  </form>
}

const depthGood = (d: string, units: Units): boolean => { const m = depthOf(d, units); return m > 0 && m <= 0.5 }

// beside says what of the folded part is written down.
function beside(e: Entry): string {
  const has = [e.depths.length > 0 && `${e.depths.length} dug`, e.note.trim() && 'a note', e.here && 'the place'].filter(Boolean)
  return has.length > 0 ? ': ' + has.join(', ') : ''
}

// Kept says whether all that was touched is on the phone.
function Kept({ stands }: { stands: boolean }) {
  const [, again] = useState(0)
  useEffect(() => keeper.subscribe(() => again((n) => n + 1)), [])
  if (keeper.broken) return <p class="small" role="alert">{keeper.broken}</p>
  return <p class="small soft kept" data-kept={keeper.unkept === 0 && stands ? 'yes' : 'no'}>{!stands ? 'Nothing written down yet.' : keeper.unkept === 0 ? 'Kept on this phone.' : 'Being kept…'}</p>
}
