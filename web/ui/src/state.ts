// What the whole page shares: the logbook's head, the work that runs, theme and
// dress. Screens ask for the rest themselves with useData.
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks'
import * as api from './api'
import { cameTo, over } from './bring/came'

type Listener = () => void
type Timer = ReturnType<typeof setTimeout> | undefined

const same = (a: api.Version | null, b: api.Version | null): boolean => a?.run === b?.run && a?.revision === b?.revision

// In milliseconds: how long what changed waits for more of it, how long after a
// failure one asks again, and how long an answer is waited for before that.
const settle = 1000, retry = 2000, patience = 10_000

export class Store {
  book: api.Book | null = null
  problem: string | null = null // why the head of the logbook is old, or not there
  turn = 0 // grows whenever what screens show may be old
  jobs: api.Job[] = []
  alive = true
  said: Said | null = null
  private listeners = new Set<Listener>()
  private known: api.Version | null = null // of what is shown
  private heard: api.Version | null = null // the last that was told
  private late: Timer
  private later: Timer
  private asked = 0
  private taken = 0
  private since = 0 // when the last was asked
  private jobsAsked = 0
  private followed = new Set<string>() // jobs whose end is told
  private fresh = new Map<string, number>() // jobs that were told of, and while which question

  get revision(): number { return this.known?.revision ?? -1 }

  subscribe(l: Listener): () => void { this.listeners.add(l); return () => this.listeners.delete(l) }
  tell() { for (const l of [...this.listeners]) l() }

  // start asks for the head of the logbook and hears what changes.
  start(): () => void {
    const stop = api.listen({
      hello: (v) => {
        const back = !this.alive
        this.alive = true
        if (this.heard && this.heard.run !== v.run) { this.jobs = []; this.fresh.clear() } // the program was started again
        if (back) this.turn++ // what failed meanwhile is asked again
        this.hear(v)
        if (back || this.problem) void this.load()
        void this.loadJobs() // what was told meanwhile was not heard
        this.tell()
      },
      changed: (v) => this.hear(v),
      job: (job) => {
        this.fresh.set(job.id, this.jobsAsked)
        this.came(job)
        this.jobs = [...this.jobs.filter((j) => j.id !== job.id), job]
        this.tell()
      },
      broken: () => { if (this.alive) { this.alive = false; this.tell() } },
    })
    void this.load()
    return () => { stop(); clearTimeout(this.late); clearTimeout(this.later); this.late = this.later = undefined }
  }

  // hear takes up what changes once a second at most, so that nothing jumps while
  // one reads, and once a second even while more and more comes.
  private hear(v: api.Version) {
    this.heard = v
    if (this.late !== undefined || !this.behind()) return
    this.late = setTimeout(() => {
      this.late = undefined
      if (!this.behind()) return
      if (this.asked === this.taken || Date.now() - this.since > patience) void this.load() // else its end sees what is left
    }, settle)
  }

  // load asks for the head of the logbook. Of two answers that overtake each
  // other the later question counts.
  async load() {
    const mine = ++this.asked
    this.since = Date.now()
    clearTimeout(this.later)
    try {
      const b = await api.get<api.Book>('/book')
      if (mine < this.taken) return
      this.taken = mine
      if (!same(b, this.known ?? this.heard ?? b)) this.turn++ // the first answer makes nothing old that was asked for beside it
      this.book = b
      this.known = { run: b.run, revision: b.revision }
      this.problem = null
    } catch (e) {
      if (mine < this.taken) return
      this.taken = mine
      this.problem = (e as Error).message
      clearTimeout(this.later)
      if (!this.book || this.alive) this.later = setTimeout(() => void this.load(), retry) // else hello asks
    }
    this.tell()
    if (this.heard && !this.problem) this.hear(this.heard) // what was told meanwhile
  }

  // behind tells whether what was told last is later than what is shown; of
  // another run one cannot say, so it is.
  private behind(): boolean {
    const { heard, known } = this
    return heard !== null && known !== null && (heard.run !== known.run || heard.revision > known.revision)
  }

  private async loadJobs() {
    const mine = ++this.jobsAsked
    try {
      const { jobs } = await api.get<{ jobs: api.Job[] }>('/jobs')
      if (mine !== this.jobsAsked) return
      const newer = this.jobs.filter((j) => (this.fresh.get(j.id) ?? -1) >= mine)
      this.jobs = [...jobs.filter((j) => !newer.some((n) => n.id === j.id)), ...newer]
      for (const j of this.jobs) this.came(j)
      this.tell()
    } catch { /* the stream tells whether the program answers */ }
  }

  // follow says at the foot of the page what a reading came to, once it has ended.
  follow(id: string) {
    this.followed.add(id)
    this.say('Reading. The worklist appears by itself.')
    const j = this.jobs.find((x) => x.id === id)
    if (j) this.came(j)
  }

  private came(j: api.Job) {
    if (this.followed.has(j.id) && over(j) && this.followed.delete(j.id)) this.say(cameTo(j))
  }

  // say shows a sentence at the foot of the page for a while, with a way back.
  say(text: string, undo?: () => Promise<void>, link?: Said['link']) {
    const said = { text, undo, link }
    this.said = said
    this.tell()
    setTimeout(() => { if (this.said === said) { this.said = null; this.tell() } }, 12_000)
  }

  // left takes what is said away with the screen that it belongs to; a way back
  // stays its time.
  left() {
    if (!this.said || this.said.undo || this.said.link) return
    this.said = null
    this.tell()
  }
}

// working tells whether a piece of work waits or goes on.
export const working = (j: Pick<api.Job, 'state'>): boolean => !over(j)

// turned says aloud what began and what ended since, and nothing of how far it is.
export function turned(was: api.Job[], now: api.Job[]): string {
  const before = (j: api.Job) => was.find((w) => w.id === j.id)
  const ended = now.filter((j) => { const w = before(j); return !working(j) && w !== undefined && working(w) })
  const begun = now.some((j) => working(j) && !before(j))
  return [...ended.map((j) => j.state === 'failed' ? j.error : j.state === 'stopped' ? j.says : 'The reading is done.'), begun && 'A reading has begun.'].filter(Boolean).join(' ')
}

// looking tells whether this screen may only look: it was paired by a link for
// looking, and everything that would change something is left away.
export const looking = (): boolean => store.book?.read_only ?? false

// settle has everything made again that was changed since.
export const settleNow = (): void => void api.send('POST', '/settle').catch((e: Error) => store.say(e.message))

export interface Said { text: string, undo?: () => Promise<void>, link?: { to: string, name: string } }
export const store = new Store()

export function useStore(): Store {
  const [, again] = useState(0)
  useLayoutEffect(() => store.subscribe(() => again((n) => n + 1)), []) // before anything can be told: an effect after the paint may come too late
  return store
}

// Data is what was asked for. With data and an error the data are those of
// before: asking again failed.
export interface Data<T> { data: T | null, error: string | null, again: () => void }

// Question is a path that is asked for again and again; what was there stays
// until the new is, also when asking fails.
export class Question<T> {
  path = ''
  data: T | null = null
  error: string | null = null
  constructor(private tell: () => void) {}

  ask(path: string): () => void {
    if (!path) return () => {}
    const c = new AbortController()
    api.get<T>(path, c.signal).then(
      (data) => { if (!c.signal.aborted) this.take(path, data, null) },
      (e: Error) => { if (!c.signal.aborted) this.take(path, this.path === path ? this.data : null, e.message) },
    )
    return () => c.abort()
  }

  private take(path: string, data: T | null, error: string | null) {
    this.path = path
    this.data = data
    this.error = error
    this.tell()
  }
}

// useData asks for a path and again whenever the logbook changes. An empty path
// asks nothing.
export function useData<T>(path: string): Data<T> {
  const { turn } = useStore()
  const [n, setN] = useState(0)
  const [, shown] = useState(0)
  const q = useRef<Question<T> | null>(null)
  q.current ??= new Question<T>(() => shown((k) => k + 1))
  useEffect(() => q.current!.ask(path), [path, turn, n])
  const fresh = q.current.path === path
  return { data: fresh ? q.current.data : null, error: fresh ? q.current.error : null, again: () => setN((k) => k + 1) }
}

// kept is a value that this browser remembers.
export function kept(key: string, otherwise: string): string {
  try { return localStorage.getItem('evenstand.' + key) ?? otherwise } catch { return otherwise }
}

export function keep(key: string, value: string) {
  try { localStorage.setItem('evenstand.' + key, value) } catch { /* private window */ }
}

export type Theme = 'light' | 'dark' | 'black'
export type Dress = 'shop' | 'cab'

export function theme(): Theme {
  const t = kept('theme', '')
  if (t === 'light' || t === 'dark' || t === 'black') return t
  return matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light'
}

export function setTheme(t: Theme) { keep('theme', t); wear() ; store.tell() }
export function dress(): Dress { return kept('dress', 'shop') === 'cab' ? 'cab' : 'shop' }
export function setDress(d: Dress) { keep('dress', d); wear(); store.tell() }

// letterKeys tells whether single characters do something when they are typed
// outside a field. Who talks to the computer, or strikes keys without meaning to,
// switches them off (WCAG 2.2, 2.1.4).
export function letterKeys(): boolean { return kept('letters', 'on') !== 'off' }
export function setLetterKeys(on: boolean) { keep('letters', on ? 'on' : 'off'); store.tell() }

// unheard tells whether a key is a single character and those are off. Every
// handler that takes such keys asks.
export function unheard(e: Pick<KeyboardEvent, 'key'>): boolean { return e.key.length === 1 && e.key !== ' ' && !letterKeys() }

// wear puts theme and dress on the page.
export function wear() {
  const root = document.documentElement
  root.dataset.theme = theme()
  root.dataset.dress = dress()
}
