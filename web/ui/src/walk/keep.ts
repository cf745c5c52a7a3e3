// What the phone keeps by itself: counts, from the first touch on, and the walk
// lists that were looked at. It is the browser's own database; what was written to
// it stays when the browser ends without a word.
import * as api from '../api'
import type { Count, Entry } from './count'
import { toSend } from './count'

export interface KeptList { key: string, book: string, name: string, zone: string, units: 'us' | 'metric', readOnly: boolean, at: number, query: string, list: api.WalkList }

const dbName = 'evenstand', counts = 'counts', lists = 'lists'

// How often what waits is sent while the page is open, ms, and how many at once.
const every = 20_000, batch = 100

const done = <T>(r: IDBRequest<T>): Promise<T> => new Promise((ok, no) => { r.onsuccess = () => ok(r.result); r.onerror = () => no(r.error) })

export class Keeper {
  entries: Entry[] = []
  lists: KeptList[] = []
  ready = false
  broken = '' // why the browser keeps nothing
  unkept = 0 // writes that are on their way to the disk
  sending = false
  trouble = '' // why what waits could not be sent
  private db: IDBDatabase | null = null
  private opening: Promise<void> | null = null
  private timer: ReturnType<typeof setInterval> | undefined
  private listeners = new Set<() => void>()
  private book = ''
  private mayWrite = false

  subscribe(l: () => void): () => void { this.listeners.add(l); return () => { this.listeners.delete(l) } }
  private tell() { for (const l of [...this.listeners]) l() }

  open(): Promise<void> {
    return this.opening ??= this.load().catch((e: Error) => {
      this.broken = 'This browser keeps nothing (' + (e?.message || 'its database does not open') + '). Save the counts as a file before the page is closed.'
    }).then(() => { this.ready = true; this.tell() })
  }

  private async load() {
    const r = indexedDB.open(dbName, 1)
    r.onupgradeneeded = () => {
      r.result.createObjectStore(counts, { keyPath: 'id' })
      r.result.createObjectStore(lists, { keyPath: 'key' })
    }
    this.db = await done(r)
    this.db.onversionchange = () => this.db?.close()
    await this.again()
  }

  // again takes up what another page of this browser wrote.
  async again() {
    if (!this.db || this.unkept > 0) return
    const t = this.db.transaction([counts, lists])
    const [a, b] = await Promise.all([done(t.objectStore(counts).getAll() as IDBRequest<Entry[]>), done(t.objectStore(lists).getAll() as IDBRequest<KeptList[]>)])
    if (this.unkept > 0) return // something was written meanwhile
    this.entries = a
    this.lists = b
    this.tell()
  }

  // write puts into a store and is over when it is on the disk.
  private write(name: string, change: (s: IDBObjectStore) => void): Promise<void> {
    if (!this.db) return Promise.resolve()
    this.unkept++
    return new Promise<void>((ok) => {
      const over = (e?: DOMException | null) => {
        this.unkept--
        if (e) this.broken = 'This browser could not keep it (' + e.message + '). Save the counts as a file.'
        this.tell()
        ok()
      }
      try {
        const t = this.db!.transaction(name, 'readwrite', { durability: 'strict' })
        t.oncomplete = () => over()
        t.onabort = () => over(t.error)
        change(t.objectStore(name))
      } catch (e) { over(e as DOMException) }
    })
  }

  put(...all: Entry[]): Promise<void> {
    for (const e of all) this.entries = [...this.entries.filter((x) => x.id !== e.id), e]
    const p = this.write(counts, (s) => { for (const e of all) s.put(e) })
    this.tell()
    return p
  }

  drop(id: string): Promise<void> {
    this.entries = this.entries.filter((x) => x.id !== id)
    const p = this.write(counts, (s) => { s.delete(id) })
    this.tell()
    return p
  }

  keepList(l: KeptList): Promise<void> {
    this.lists = [...this.lists.filter((x) => x.key !== l.key), l]
    const p = this.write(lists, (s) => { s.put(l) })
    this.tell()
    return p
  }

  waiting(): Entry[] { return this.entries.filter((e) => e.state === 'waiting') }

  // near begins to send to a logbook, now, when the network is back, and every so
  // often; the end of it is what it gives back.
  near(book: string, mayWrite: boolean): () => void {
    this.book = book
    this.mayWrite = mayWrite
    const now = () => void this.send()
    const seen = () => { if (document.visibilityState === 'visible') void this.again().then(now) }
    addEventListener('online', now)
    document.addEventListener('visibilitychange', seen)
    this.timer = setInterval(now, every)
    now()
    return () => { removeEventListener('online', now); document.removeEventListener('visibilitychange', seen); clearInterval(this.timer) }
  }

  // send sends what waits for this logbook. What came twice is known there by its
  // number and taken once.
  async send(): Promise<void> {
    await this.open()
    if (this.sending || !this.book || !this.mayWrite) return
    const mine = this.waiting().filter((e) => e.book === this.book).sort((a, b) => a.changed - b.changed)
    if (mine.length === 0) { if (this.trouble) { this.trouble = ''; this.tell() } return }
    this.sending = true
    this.tell()
    try {
      for (let i = 0; i < mine.length; i += batch) {
        const part = mine.slice(i, i + batch).map((e) => ({ ...e, tried: true }))
        await this.put(...part) // before it goes: whether it came may never be known
        const r = await api.send<Reply>('POST', '/counts', { counts: part.map(toSend) } satisfies { counts: Count[] })
        await this.put(...part.map((e) => answered(this.entries.find((x) => x.id === e.id) ?? e, r)))
      }
      this.trouble = ''
    } catch (e) {
      this.trouble = (e as Error).message
    }
    this.sending = false
    this.tell()
  }
}

export interface Reply { stored?: string[], known?: string[], refused?: { id: string, why: string }[] }

// answered is a count after the server's answer; one that it says nothing of waits on.
export function answered(e: Entry, r: Reply): Entry {
  const no = r.refused?.find((x) => x.id === e.id)
  if (no) return { ...e, state: 'refused', why: no.why, tried: false }
  return r.stored?.includes(e.id) || r.known?.includes(e.id) ? { ...e, state: 'sent', why: '' } : e
}

export const keeper = new Keeper()
