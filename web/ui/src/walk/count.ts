// A count as it is written down on the way: what was typed, as typed, until it is
// done; then what is sent. Nothing here knows of screen or network.

export type Units = 'us' | 'metric'
export type Method = 'row' | 'hoop'

// State is how far a count has come: being written, waiting for the laptop, there,
// or not taken there and to be mended.
export type State = 'draft' | 'waiting' | 'sent' | 'refused'

export interface Entry {
  id: string
  book: string // of the logbook that it is for
  at: string // RFC 3339; when it was counted
  planter: string
  field: string
  place: string // in the words of the walk list
  lat?: number
  lon?: number
  here: boolean // the place is the phone's own, else the walk list's
  method: Method
  rows: string
  // As typed, in the units of the logbook.
  length: string
  counted: string // rows
  diameter: string
  hoops: string
  plants: string
  late: string
  depths: string[]
  note: string
  who: string
  units: Units
  state: State
  tried: boolean // it was sent once; whether it came is not known
  why: string // it was refused
  replaces?: string
  replaced?: string // by this one
  changed: number // ms
}

// Count is what is sent, in SI.
export interface Count {
  id: string
  at: string
  planter: string
  field: string
  place: string
  latitude?: number
  longitude?: number
  method: Method
  rows?: string
  length_m?: number
  rows_counted?: number
  diameter_m?: number
  hoops?: number
  plants?: number
  late?: number
  depths_m?: number[]
  note: string
  who: string
  replaces?: string
}

const foot = 0.3048, inch = 0.0254, acre = 4046.8564224, hectare = 10_000

// newID makes a UUID (RFC 9562, version 4) also where the page may not ask for one:
// crypto.randomUUID is for secure pages alone.
export function newID(): string {
  if (typeof crypto.randomUUID === 'function') return crypto.randomUUID()
  const b = crypto.getRandomValues(new Uint8Array(16))
  b[6] = (b[6]! & 0x0f) | 0x40
  b[8] = (b[8]! & 0x3f) | 0x80
  const s = [...b].map((x) => x.toString(16).padStart(2, '0')).join('')
  return [s.slice(0, 8), s.slice(8, 12), s.slice(12, 16), s.slice(16, 20), s.slice(20)].join('-')
}

// number reads a number as people type it; NaN where it is none.
export function number(s: string): number {
  const t = s.trim().replace(',', '.')
  return /^\d+(\.\d*)?$|^\.\d+$/.test(t) ? Number(t) : NaN
}

// lengthOf reads a length in m: feet, or feet and inches ("17 ft 5 in", 17'5"), or
// metres.
export function lengthOf(s: string, units: Units): number {
  if (units === 'metric') return number(s.replace(/\s*m$/, ''))
  const m = /^\s*(\d+)\s*(?:ft|')\s*(?:(\d+(?:\.\d+)?)\s*(?:in|"|'')?)?\s*$/.exec(s)
  if (m) return Number(m[1]) * foot + Number(m[2] ?? 0) * inch
  return number(s.replace(/\s*ft$/, '')) * foot
}

// widthOf reads a diameter or a depth in m: inches, also "1 3/4", or centimetres.
export function widthOf(s: string, units: Units): number {
  const t = s.trim().replace(/\s*(in|"|cm)$/, '')
  if (units === 'metric') return number(t) / 100
  const m = /^(?:(\d+)\s+)?(\d+)\/([1-9]\d*)$/.exec(t)
  return (m ? Number(m[1] ?? 0) + Number(m[2]) / Number(m[3]) : number(t)) * inch
}

export const whole = (s: string): number => { const x = number(s); return Number.isInteger(x) ? x : NaN }

// writeLength writes a length to be typed over: 17.4 in feet, 5.31 in metres.
export const writeLength = (m: number, units: Units): string => units === 'metric' ? m.toFixed(2) : (m / foot).toFixed(1)

// problem says what is still wanted of a count before it is done; empty: nothing.
export function problem(e: Entry): string {
  const plants = whole(e.plants)
  if (e.plants.trim() === '' && e.depths.length > 0) return '' // only dug
  if (e.plants.trim() === '') return 'Count the plants, or dig and add a depth.'
  if (!(plants >= 0 && plants <= 100_000)) return `Plants: “${e.plants}” is no whole number.`
  if (e.method === 'row') {
    const l = lengthOf(e.length, e.units)
    if (!(l > 0 && l <= 1000)) return `Length: “${e.length}” is no length. Write it ${e.units === 'metric' ? 'as 5.3' : 'as 17.4, or as 17 ft 5 in'}.`
    const n = whole(e.counted)
    if (!(n >= 1 && n <= 100)) return `Rows counted: “${e.counted}” is no number of rows.`
  } else {
    const d = widthOf(e.diameter, e.units)
    if (!(d > 0 && d <= 10)) return 'Hoop: write how far it is across inside.'
    const n = whole(e.hoops)
    if (!(n >= 1 && n <= 100)) return 'Hoops: write how often it was laid down.'
  }
  if (e.late.trim() !== '') {
    const n = whole(e.late)
    if (!(n >= 0)) return `Late plants: “${e.late}” is no whole number.`
    if (n > plants) return 'There are more late plants than plants.'
  }
  return ''
}

// perArea tells plants an acre or hectare; NaN while that cannot be told.
export function perArea(e: Entry, spacing: number): number {
  const plants = whole(e.plants)
  const area = e.method === 'row'
    ? lengthOf(e.length, e.units) * whole(e.counted) * spacing
    : Math.PI / 4 * widthOf(e.diameter, e.units) ** 2 * whole(e.hoops)
  const x = plants / area * (e.units === 'metric' ? hectare : acre)
  return Number.isFinite(x) ? x : NaN
}

// sayPer writes it as the walk list does: 31,000 plants an acre.
export const sayPer = (x: number, units: Units): string => `${(100 * Math.round(x / 100)).toLocaleString('en-US')} plants ${units === 'metric' ? 'a hectare' : 'an acre'}`

const round = (x: number): number => Number(x.toFixed(4))

// toSend gives a count as the server takes it.
export function toSend(e: Entry): Count {
  const c: Count = { id: e.id, at: e.at, planter: e.planter, field: e.field, place: e.place, method: e.method, note: e.note.trim(), who: e.who.trim() }
  if (e.lat !== undefined && e.lon !== undefined) { c.latitude = e.lat; c.longitude = e.lon }
  if (e.rows.trim()) c.rows = e.rows.trim()
  if (e.plants.trim()) {
    c.plants = whole(e.plants)
    if (e.method === 'row') { c.length_m = round(lengthOf(e.length, e.units)); c.rows_counted = whole(e.counted) } else { c.diameter_m = round(widthOf(e.diameter, e.units)); c.hoops = whole(e.hoops) }
    if (e.late.trim()) c.late = whole(e.late)
  }
  if (e.depths.length > 0) c.depths_m = e.depths.map((d) => round(widthOf(d, e.units)))
  if (e.replaces) c.replaces = e.replaces
  return c
}

// asFile is what evenstand count reads: all that are done and hold.
export const asFile = (all: Entry[]): string => JSON.stringify({ counts: all.filter((e) => e.state !== 'draft').map(toSend) }, null, 1) + '\n'

// says puts a count into a few words: 31 plants, 31,000 plants an acre, 2 late.
export function says(e: Entry, spacing: number): string {
  const x = perArea(e, spacing)
  const n = e.depths.length
  return [
    e.plants.trim() && `${e.plants.trim()} ${e.plants.trim() === '1' ? 'plant' : 'plants'}${Number.isNaN(x) ? '' : ', ' + sayPer(x, e.units)}`,
    e.late.trim() && `${e.late.trim()} late`,
    n > 0 && `${n} ${n === 1 ? 'depth' : 'depths'} dug`,
  ].filter(Boolean).join(', ')
}

// held are the counts that stand: none that another replaced.
export const held = (all: Entry[]): Entry[] => all.filter((e) => !e.replaced)

// ofPlace gives the count that stands for a place of a list, if there is one; one
// being written before one that is done.
export const ofPlace = (all: Entry[], field: string, place: string): Entry | undefined => held(all).filter((e) => e.field === field && e.place === place).sort((a, b) => Number(b.state === 'draft') - Number(a.state === 'draft') || b.changed - a.changed)[0]

const compass = ['north', 'north-east', 'east', 'south-east', 'south', 'south-west', 'west', 'north-west']

// wayTo says how far a place is from where one stands: 240 ft to the north-east.
// On a field the ground is flat (equirectangular; within 1 in 1,000).
export function wayTo(from: { lat: number, lon: number }, to: { lat: number, lon: number }, units: Units): string {
  const north = (to.lat - from.lat) * 111_200, east = (to.lon - from.lon) * 111_200 * Math.cos(from.lat * Math.PI / 180)
  const far = Math.hypot(north, east)
  const says = units === 'metric' ? `${Math.round(far).toLocaleString('en-US')} m` : `${Math.round(far / foot).toLocaleString('en-US')} ft`
  return `${says} to the ${compass[(Math.round(Math.atan2(east, north) / (Math.PI / 4)) + 8) % 8]}`
}
