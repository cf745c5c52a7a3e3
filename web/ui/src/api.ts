// What the server is asked for. The types are made from its own description
// (api-types.ts, by `npm run types`); nothing here says them again.
import type { components, operations } from './api-types'

type Schemas = components['schemas']
export type Book = Schemas['BookInfo']
export type Worklist = Schemas['WorklistView']
export type Spoken = Schemas['Spoken']
export type Followed = Schemas['Followed']
export type Pass = Schemas['PassView']
export type PassInfo = Schemas['PassInfo']
export type Rows = Schemas['RowsView']
export type RowFigure = Schemas['RowFigure']
export type Axis = Schemas['Axis']
export type Sources = Schemas['SourceList']
export type Source = Schemas['SourceView']
export type Settings = Schemas['SettingsView']
export type LimitList = Schemas['LimitList']
export type Limit = Schemas['Limit']
export type Card = Schemas['CardView']
export type Relations = Schemas['RelationList']
export type Strip = Schemas['Strip']
export type Course = Schemas['Course']
export type Note = Schemas['NoteView']
export type NoteHistory = Schemas['NoteHistory']
export type Journal = Schemas['Journal']
export type CheckPoint = Schemas['CheckPoint']
export type ChangedView = Schemas['ChangedView']
export type ChangedItem = Schemas['ChangedItem']
export type SettingItem = Schemas['SettingItem']
export type ReplantSheet = Schemas['ReplantSheet']
export type WalkList = Schemas['WalkList']
export type MakeUpSheet = Schemas['MakeUpSheet']
export type PaperList = Schemas['PaperList']
export type PaperBundle = Schemas['Bundle']
export type PaperWritten = Schemas['PaperWritten']
export type CountSheet = Schemas['CountSheet']
export type CountsReply = Schemas['CountsReply']
export type ZonesCounted = Schemas['ZonesCounted']
export type GiveList = Schemas['GiveList']
export type CostSheet = Schemas['CostSheet']
export type HandOver = Schemas['HandOverView']
export type Balance = Schemas['BalanceView']
export type Lever = Schemas['LeverView']
export type TrialList = Schemas['TrialList']
export type MountedPart = Schemas['MountedPart']
export type Trial = Schemas['TrialView']
export type TrialTold = Schemas['Told']
export type TrialAxes = Schemas['TrialAxes']
export type TrialPlan = Schemas['TrialPlan']
export type SaidPart = Schemas['SaidPartView']
export type BoxLine = Schemas['BoxLineView']
export type Job = Schemas['Job']
export type Chart = Schemas['Chart']
export type Track = Schemas['TrackView']
export type Ground = Schemas['GroundView']
export type FieldsPlanted = Schemas['FieldsPlanted']
export type FieldPlanted = Schemas['FieldPlanted']
export type Amount = Schemas['Amount']
export type Patches = Schemas['Patches']
export type PatchFeature = Schemas['PatchFeature']
export type Patch = Schemas['Patch']
export type FindingGround = Schemas['FindingGround']
export type GroundAt = Schemas['GroundAt']
export type UnknownTable = Schemas['UnknownTable']
export type Unread = Schemas['UnreadUpload']
export type Proposal = Schemas['ProposalView']
export type ColumnView = Schemas['ColumnView']
export type Question = Schemas['QuestionView']
export type Kept = Schemas['Kept']
export type Recipe = Schemas['RecipeView']
export type Measure = Schemas['MeasureInfo']
export type SettingsChange = NonNullable<operations['setSettings']['requestBody']>['content']['application/json']

const base = '/api/v1'

// Problem is an answer that says what is wrong and what to do.
export class Problem extends Error {
  constructor(readonly status: number, detail: string) { super(detail) }
}

async function answer(r: Response): Promise<Response> {
  if (r.ok) return r
  let detail = `The program answered ${r.status}.`
  try {
    const p = await r.json() as { detail?: string, errors?: { message: string, location?: string }[] }
    const more = (p.errors ?? []).map((e) => e.message).join('; ')
    detail = [p.detail, more].filter(Boolean).join(' ')
  } catch { /* not ours */ }
  throw new Problem(r.status, detail)
}

async function ask(path: string, init?: RequestInit): Promise<Response> {
  let r: Response
  try {
    r = await fetch(base + path, init)
  } catch (e) {
    if ((e as Error).name === 'AbortError') throw e
    throw new Problem(0, 'The program does not answer. Is evenstand still running? Start it again; this page goes on by itself.')
  }
  return answer(r)
}

export async function get<T>(path: string, signal?: AbortSignal): Promise<T> {
  return await (await ask(path, { signal })).json() as T
}

export async function send<T>(method: string, path: string, body?: unknown): Promise<T> {
  const init: RequestInit = { method }
  if (body !== undefined) {
    init.body = JSON.stringify(body)
    init.headers = { 'Content-Type': 'application/json' }
  }
  const r = await ask(path, init)
  const text = await r.text()
  return (text ? JSON.parse(text) : {}) as T
}

// query writes a query string without what is empty.
export function query(q: Record<string, string | number | boolean | undefined>): string {
  const u = new URLSearchParams()
  for (const [k, v] of Object.entries(q)) if (v !== undefined && v !== '' && v !== false) u.set(k, String(v))
  const s = u.toString()
  return s && '?' + s
}

export type Column = Uint8Array | Uint16Array | Int16Array | Int32Array | Float32Array
export interface Columns<M> { meta: M, of: Record<string, Column> }

// decode reads the typed columns of a reply (web/columns.go says their layout).
export function decode<M>(buf: ArrayBuffer): Columns<M> {
  const view = new DataView(buf)
  if (buf.byteLength < 8 || new TextDecoder().decode(buf.slice(0, 4)) !== 'EVC1') throw new Problem(0, 'The program sent something else than seeds. Reload the page.')
  const n = view.getUint32(4, true)
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buf, 8, n))) as { meta: M, columns: { name: string, type: string, n: number, at: number }[] }
  const of: Record<string, Column> = {}
  for (const c of head.columns) {
    const at = 8 + n + c.at
    switch (c.type) {
      case 'u8': of[c.name] = new Uint8Array(buf, at, c.n); break
      case 'u16': of[c.name] = new Uint16Array(buf, at, c.n); break
      case 'i16': of[c.name] = new Int16Array(buf, at, c.n); break
      case 'i32': of[c.name] = new Int32Array(buf, at, c.n); break
      case 'f32': of[c.name] = new Float32Array(buf, at, c.n); break
    }
  }
  return { meta: head.meta, of }
}

export async function columns<M>(path: string, signal?: AbortSignal): Promise<Columns<M>> {
  return decode<M>(await (await ask(path, { signal })).arrayBuffer())
}

// putFile brings one file, telling how many bytes have gone.
export function putFile(upload: string, name: string, file: Blob, tell: (bytes: number) => void, signal: AbortSignal): Promise<void> {
  return new Promise((done, fail) => {
    const stopped = () => new DOMException('stopped', 'AbortError')
    if (signal.aborted) return fail(stopped())
    const x = new XMLHttpRequest()
    const stop = () => x.abort()
    x.open('PUT', `${base}/uploads/${upload}/file${query({ path: name })}`)
    x.upload.onprogress = (e) => tell(e.loaded)
    x.onload = () => {
      if (x.status < 300) return done()
      let detail = `The program answered ${x.status}.`
      try { detail = (JSON.parse(x.responseText) as { detail: string }).detail } catch { /* not ours */ }
      fail(new Problem(x.status, detail))
    }
    x.onerror = () => fail(new Problem(0, 'The file did not arrive. Is evenstand still running?'))
    x.onabort = () => fail(stopped())
    x.onloadend = () => signal.removeEventListener('abort', stop)
    signal.addEventListener('abort', stop)
    x.send(file)
  })
}

// Version is how far a run of the program has come: another run counts anew.
export interface Version { run: string, revision: number }

export interface Hears {
  hello: (v: Version) => void // the stream begins, also after it was broken
  changed: (v: Version) => void
  job: (j: Job) => void
  broken: () => void
}

// listen hears what changes; the browser connects again by itself, and where it
// gives up, we do.
export function listen(to: Hears, again = 5000): () => void {
  let e: EventSource
  let timer: ReturnType<typeof setTimeout> | undefined
  const data = <T>(m: Event) => JSON.parse((m as MessageEvent<string>).data) as T
  const open = () => {
    e = new EventSource(base + '/events')
    e.addEventListener('hello', (m) => to.hello(data<Version>(m)))
    e.addEventListener('changed', (m) => to.changed(data<Version>(m)))
    e.addEventListener('job', (m) => to.job(data<Job>(m)))
    e.onerror = () => {
      to.broken()
      if (e.readyState !== 2) return // it tries again
      e.close()
      timer = setTimeout(open, again)
    }
  }
  open()
  return () => { clearTimeout(timer); e.close() }
}
