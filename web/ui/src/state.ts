// What the whole page shares: the logbook's head, the work that runs, theme and
// dress. Screens ask for the rest themselves with useData.
import { useEffect, useRef, useState } from 'preact/hooks'
import * as api from './api'

type Listener = () => void

class Store {
  book: api.Book | null = null
  problem: string | null = null
  revision = -1
  jobs: api.Job[] = []
  alive = true
  said: Said | null = null
  private listeners = new Set<Listener>()
  private late = 0

  subscribe(l: Listener): () => void { this.listeners.add(l); return () => this.listeners.delete(l) }
  tell() { for (const l of [...this.listeners]) l() }

  // start asks for the head of the logbook and hears what changes. What changes
  // is taken up once a second at most, so that nothing jumps while one reads.
  start() {
    api.listen(
      (revision) => {
        if (revision === this.revision) return
        clearTimeout(this.late)
        this.late = window.setTimeout(() => { this.revision = revision; void this.load() }, this.revision < 0 ? 0 : 1000)
      },
      (job) => {
        this.jobs = [...this.jobs.filter((j) => j.id !== job.id), job]
        this.tell()
      },
      (yes) => { if (yes !== this.alive) { this.alive = yes; this.tell() } },
    )
    void api.get<{ jobs: api.Job[] }>('/jobs').then((j) => { this.jobs = j.jobs; this.tell() }, () => {})
    void this.load()
  }

  async load() {
    try {
      this.book = await api.get<api.Book>('/book')
      this.revision = this.book.revision
      this.problem = null
    } catch (e) {
      this.problem = (e as Error).message
      if (!this.book) setTimeout(() => void this.load(), 2000) // nothing can be shown without it
    }
    this.tell()
  }

  // say shows a sentence at the foot of the page for a while, with a way back.
  say(text: string, undo?: () => Promise<void>) {
    const said = { text, undo }
    this.said = said
    this.tell()
    setTimeout(() => { if (this.said === said) { this.said = null; this.tell() } }, 12_000)
  }
}

// looking tells whether this screen may only look: it was paired by a link for
// looking, and everything that would change something is left away.
export const looking = (): boolean => store.book?.read_only ?? false

export interface Said { text: string, undo?: () => Promise<void> }
export const store = new Store()

export function useStore(): Store {
  const [, again] = useState(0)
  useEffect(() => store.subscribe(() => again((n) => n + 1)), [])
  return store
}

export interface Data<T> { data: T | null, error: string | null, again: () => void }

// useData asks for a path and again whenever the logbook changes; what was there
// stays until the new is. An empty path asks nothing.
export function useData<T>(path: string): Data<T> {
  const { revision } = useStore()
  const [n, setN] = useState(0)
  const [got, setGot] = useState<{ path: string, data: T | null, error: string | null }>({ path: '', data: null, error: null })
  const ctl = useRef<AbortController | null>(null)
  useEffect(() => {
    if (!path) return
    const c = new AbortController()
    ctl.current?.abort()
    ctl.current = c
    api.get<T>(path, c.signal).then(
      (data) => setGot({ path, data, error: null }),
      (e: Error) => { if (e.name !== 'AbortError') setGot({ path, data: null, error: e.message }) },
    )
    return () => c.abort()
  }, [path, revision, n])
  const fresh = got.path === path
  return { data: fresh ? got.data : null, error: fresh ? got.error : null, again: () => setN(n + 1) }
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

// wear puts theme and dress on the page.
export function wear() {
  const root = document.documentElement
  root.dataset.theme = theme()
  root.dataset.dress = dress()
}
