// Where to count plants, in the order of walking, and what was counted: with a
// network or without one.
import { useEffect, useState } from 'preact/hooks'
import type * as api from '../api'
import { query } from '../api'
import { Choice, Sheet, Title, Wrong } from '../parts'
import { stay, usePlace } from '../route'
import { store, useData, useStore } from '../state'
import { asFile, held, ofPlace, says, type Entry } from './count'
import { Form, type Setting, type Spot } from './form'
import { keeper, type KeptList } from './keep'
import { Map } from './map'
import { installed } from './offline'

type Place = api.WalkList['places'][number]

export function useKeeper() {
  const [, again] = useState(0)
  useEffect(() => {
    void keeper.open()
    return keeper.subscribe(() => again((n) => n + 1))
  }, [])
  return keeper
}

export function Walk() {
  const { q } = usePlace()
  const { book } = useStore()
  const k = useKeeper()
  const [at, setAt] = useState<{ lat: number, lon: number } | null>(null)
  const asked = query({ field: q.get('field') || undefined, places: q.get('places') || undefined, draw: q.get('draw') || undefined })
  const d = useData<api.WalkList>('/walk' + query({ field: q.get('field') || undefined, places: q.get('places') || undefined, draw: q.get('draw') || undefined, lat: at ? String(at.lat) : undefined, lon: at ? String(at.lon) : undefined }))
  useEffect(() => { void installed() }, [])
  useEffect(() => { // what was looked at can be looked at again without a network
    if (!d.data || !book || d.data.field === '') return
    void keeper.open().then(() => keeper.keepList({ key: book.id + '\n' + d.data!.field, book: book.id, name: book.name, zone: book.zone, units: book.units, readOnly: book.read_only, at: Date.now(), query: asked, list: d.data! }))
  }, [d.data, book?.id, book?.read_only])
  const mine = k.lists.filter((l) => !book || l.book === book.id).sort((a, b) => b.at - a.at)
  const before = q.get('field') ? mine.find((l) => l.list.field === q.get('field')) : mine[0]
  const l = d.data ?? before?.list
  if (!l) {
    if (!d.error) return <p class="soft" role="status">One moment…</p>
    return <><Title page="Walk list">Walk list</Title><Wrong text={d.error} again={d.again} />{k.ready && <p class="near soft">No walk list is kept on this device: look at it once while the laptop is near.</p>}</>
  }
  if (l.field === '') return <><Title page="Walk list">Nowhere to count yet.</Title><p class="near soft">Where to count is chosen by what was planted. <a href="/bring">Bring logs</a></p></>
  const head = book ? { id: book.id, units: book.units, readOnly: book.read_only } : before ? { id: before.book, units: before.units, readOnly: before.readOnly } : null
  if (!head || !k.ready) return <p class="soft" role="status">One moment…</p>
  return <Screen l={l} old={d.data ? null : before ?? null} why={d.error && away(d.error)} q={q} setAt={setAt} head={head} mine={mine} />
}

interface Head { id: string, units: 'us' | 'metric', readOnly: boolean }

function Screen({ l, old, why, q, setAt, head, mine }: { l: api.WalkList, old: KeptList | null, why: string | null, q: URLSearchParams, setAt: (at: { lat: number, lon: number }) => void, head: Head, mine: KeptList[] }) {
  const at: Setting = { book: head.id, field: l.field, units: head.units, over: l.count_over_m ?? 0, spacing: l.row_spacing_m ?? NaN }
  const of = (p: Place) => ofPlace(keeper.entries.filter((e) => e.book === head.id), l.field, p.where)
  const counted = (p: Place) => { const e = of(p); return e !== undefined && e.state !== 'draft' }
  const open = head.readOnly ? undefined : l.places.find((p) => String(p.number) === q.get('at'))
  const after = (n: number) => [...l.places.filter((p) => p.number > n), ...l.places.filter((p) => p.number <= n)].find((p) => !counted(p))
  const goTo = (n?: number) => { stay({ at: n }); scrollTo(0, 0) }
  if (open) {
    const spot: Spot = { title: `Place ${open.number} of ${l.places.length}`, place: open.where, why: open.why, planter: open.planter, rows: (open.rows ?? []) as number[], lat: open.lat, lon: open.lon, expected: open.expected_per_m2 }
    return <Form key={open.where} spot={spot} at={at} next={() => goTo(after(open.number)?.number)} close={() => goTo()} />
  }
  const next = after(0)
  const left = l.places.filter((p) => !counted(p)).length
  return <>
    <Title page="Walk list">{l.title}</Title>
    {old && <p class="notice near" role="status">{why ? why + ' ' : ''}This list is kept on this device, as of {when(old.at, old.zone)}.</p>}
    {!head.readOnly && <Counting l={l} left={left} next={next} goTo={goTo} head={head} />}
    <p class="near do-it">{l.how}</p>
    <p class="near">{l.when}</p>
    <p class="near soft">{l.asked} {l.tells}</p>
    <Ways l={l} q={q} setAt={setAt} old={old} mine={mine} />
    <Map l={l} units={head.units} done={counted} />
    <p class="near soft">{l.way}</p>
    <ol class="walk near">{l.places.map((p) => <Line key={p.pass_key + p.along_m} p={p} e={of(p)} spacing={at.spacing} open={head.readOnly ? undefined : () => goTo(p.number)} />)}</ol>
    {!head.readOnly && <Others of={l} head={head} spacing={at.spacing} />}
    {l.notes.map((n) => <p key={n} class="near small soft">{n}</p>)}
    <div class="buttons gap"><a class="btn" download="places.geojson" href={'data:application/geo+json,' + encodeURIComponent(JSON.stringify(geo(l)))}>GeoJSON</a><button onClick={() => print()}>Print</button></div>
    <details class="gap still"><summary>As a table</summary><Sheet label="Places" name="walk-list"><thead><tr><th class="n">no.</th><th>where</th><th>why</th><th class="n">latitude</th><th class="n">longitude</th></tr></thead>
      <tbody>{l.places.map((p) => <tr key={p.number}><td class="n">{p.number}</td><td>{p.where}</td><td>{p.why}</td><td class="n">{p.lat.toFixed(7)}</td><td class="n">{p.lon.toFixed(7)}</td></tr>)}</tbody></Sheet></details>
  </>
}

// Ways are what can be asked for: field, places, beginning; without a network the
// lists that are kept.
function Ways({ l, q, setAt, old, mine }: { l: api.WalkList, q: URLSearchParams, setAt: (at: { lat: number, lon: number }) => void, old: KeptList | null, mine: KeptList[] }) {
  const [trouble, setTrouble] = useState('')
  const here = () => navigator.geolocation.getCurrentPosition((p) => { setTrouble(''); setAt({ lat: p.coords.latitude, lon: p.coords.longitude }) }, (e) => setTrouble('This device does not say where it is: ' + e.message + '.'), { enableHighAccuracy: true, timeout: 15_000 })
  const fields = old ? mine.map((x) => x.list.field) : l.fields
  return <>
    <div class="pick gap">
      {fields.length > 1 && <Choice label="Field" value={l.field} set={(x) => stay({ field: x })} of={fields.map((f) => ({ value: f, text: f }))} />}
      {!old && <Choice label="Parts of the field" value={q.get('places') || '10'} set={(x) => stay({ places: x })} of={['6', '10', '15', '20', '30'].map((n) => ({ value: n, text: n }))} />}
      {!old && 'geolocation' in navigator && <button onClick={here}>Begin where I stand</button>}
      {!old && <button onClick={() => stay({ draw: Number(q.get('draw') ?? 0) + 1 })}>Draw others</button>}
    </div>
    {trouble && <p class="near" role="alert">{trouble}</p>}
  </>
}

// Counting says how far one is, where to go next, and what became of the counts.
function Counting({ l, left, next, goTo, head }: { l: api.WalkList, left: number, next: Place | undefined, goTo: (n?: number) => void, head: Head }) {
  const [on, setOn] = useState<boolean | null>(null)
  useEffect(() => { void installed().then(setOn) }, [])
  const all = keeper.entries.filter((e) => e.book === head.id)
  const waits = all.filter((e) => e.state === 'waiting').length, refused = held(all).filter((e) => e.state === 'refused').length, sent = all.filter((e) => e.state === 'sent').length
  const drafts = all.filter((e) => e.state === 'draft').length
  const elsewhere = keeper.entries.filter((e) => e.book !== head.id && e.state === 'waiting').length
  const save = () => {
    const a = document.createElement('a')
    a.href = URL.createObjectURL(new Blob([asFile(all)], { type: 'application/json' }))
    a.download = 'counts.json'
    a.click()
    setTimeout(() => URL.revokeObjectURL(a.href), 1000)
  }
  const done = l.places.length - left
  return <section class="counting near" aria-label="Counts">
    <p><b>{done === 0 ? `${l.places.length} places to count.` : left === 0 ? `All ${l.places.length} places are counted.` : `${done} of ${l.places.length} places counted, ${left} still wanted.`}</b>
      {drafts > 0 && ` ${many(drafts, 'count is', 'counts are')} begun and not done.`}</p>
    {next && <button class="first wide-btn" onClick={() => goTo(next.number)}>Count at place {next.number}</button>}
    {next && <p class="small soft">{next.where}.</p>}
    {(waits + sent + refused > 0) && <p class="near states" role="status">{[waits > 0 && `${many(waits, 'count waits', 'counts wait')} to be sent`, refused > 0 && `${many(refused, 'was', 'were')} not taken`, sent > 0 && `${many(sent, 'was', 'were')} sent`].filter(Boolean).join(', ')}.</p>}
    {keeper.trouble && waits > 0 && <p class="small soft">{away(keeper.trouble)} What waits is kept here and sent by itself while this page is open and the laptop answers.</p>}
    {elsewhere > 0 && <p class="small soft">{many(elsewhere, 'count waits', 'counts wait')} for another logbook.</p>}
    {keeper.broken && <p class="notice bad near" role="alert">{keeper.broken}</p>}
    {waits + sent + refused > 0 && <div class="buttons near">{waits > 0 && <button disabled={keeper.sending} onClick={() => void keeper.send()}>Send now</button>}<button onClick={save}>Save as a file</button></div>}
    {on === false && <Plain />}
    {on && <p class="small soft">This page opens on this device without a network.</p>}
  </section>
}

// Plain says what works where a page may not be kept: over http from another
// computer.
function Plain() {
  return <details class="near"><summary>Without a network this page works only while it stays open</summary>
    <p>It came over plain http, so the browser may not keep the page itself. What is counted is kept in this browser all the same, also when it is closed: leave the page open on the way, and it sends by itself once the laptop answers. “Save as a file” takes the counts along; on the laptop: evenstand count BOOK counts.json.</p>
    <p>To have the page open without a network, start it on the laptop with: evenstand open BOOK --listen 0.0.0.0:7423 --https. It says how this phone comes to trust it.</p></details>
}

// away says in few words that nobody answers: on the way that is as it should be.
const away = (why: string): string => why.startsWith('The program does not answer') ? navigator.onLine ? 'The laptop does not answer.' : 'No network.' : why

const many = (n: number, one: string, more: string): string => `${n} ${n === 1 ? one : more}`

const when = (at: number, zone: string): string => new Intl.DateTimeFormat('en-US', { timeZone: zone, month: 'short', day: 'numeric', hour: 'numeric', minute: '2-digit' }).format(at).replace(' AM', ' am').replace(' PM', ' pm')

// came says what became of a count.
function came(e: Entry): string {
  switch (e.state) {
    case 'draft': return 'begun'
    case 'waiting': return 'waits to be sent'
    case 'refused': return 'not taken: ' + e.why
    case 'sent': return 'sent'
  }
}

function Line({ p, e, spacing, open }: { p: Place, e: Entry | undefined, spacing: number, open?: () => void }) {
  return <li><div class="place">
    <div>
      <div class="s">{p.where}.</div>
      <div class="soft">{p.why}. <span class="nowrap">{p.lat.toFixed(6)}, {p.lon.toFixed(6)}</span></div>
      {e && <div class="was-counted">{[says(e, spacing), came(e)].filter(Boolean).join('; ')}.</div>}
    </div>
    {open && <button aria-label={`${!e ? 'Count at' : e.state === 'draft' ? 'Go on at' : e.state === 'refused' ? 'Mend' : 'Correct'} place ${p.number}`} onClick={open}>{!e ? 'Count' : e.state === 'draft' ? 'Go on' : e.state === 'refused' ? 'Mend' : 'Correct'}</button>}
  </div></li>
}

// Others are counts of this field at places that the list does not have now.
function Others({ of, head, spacing }: { of: api.WalkList, head: Head, spacing: number }) {
  const all = held(keeper.entries).filter((e) => e.book === head.id && (e.field !== of.field || !of.places.some((p) => p.where === e.place))).sort((a, b) => b.changed - a.changed)
  if (all.length === 0) return null
  return <section class="near"><h2>Counted elsewhere</h2><ul class="walk plain">{all.map((e) => <li key={e.id}>
    <div class="s">{e.field}: {e.place}</div><div>{[says(e, spacing), came(e)].filter(Boolean).join('; ')}.</div>
    {(e.state === 'draft' || e.state === 'refused') && <button class="near" onClick={() => { void keeper.drop(e.id); store.say('Thrown away.', () => keeper.put(e)) }}>Throw away</button>}
  </li>)}</ul></section>
}

// geo gives the places for a map on the phone (RFC 7946).
const geo = (l: api.WalkList) => ({ type: 'FeatureCollection', features: l.places.map((p) => ({ type: 'Feature', geometry: { type: 'Point', coordinates: [p.lon, p.lat] }, properties: { number: p.number, where: p.where, why: p.why } })) })
