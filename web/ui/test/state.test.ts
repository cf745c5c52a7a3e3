import { afterEach, beforeEach, expect, test, vi } from 'vitest'
import * as api from '../src/api'
import { decoded, go, onLeave, stay } from '../src/route'
import { Question, setLetterKeys, Store, turned, unheard } from '../src/state'

// A stream that the test speaks on.
class Stream extends EventTarget {
  static all: Stream[] = []
  readyState = 1
  onerror: (() => void) | null = null
  constructor(readonly url: string) { super(); Stream.all.push(this) }
  close() { this.readyState = 2 }
  say(name: string, data: unknown) { this.dispatchEvent(new MessageEvent(name, { data: JSON.stringify(data) })) }
  breaks(forever = false) { this.readyState = forever ? 2 : 0; this.onerror?.() }
}

interface Asked { path: string, answer: (body: unknown, status?: number) => void, fail: () => void, signal?: AbortSignal | null }
let asked: Asked[] = []
const open = (path: string) => asked.filter((a) => a.path === path)
const last = (path: string) => open(path).at(-1)!
const flush = async () => { for (let i = 0; i < 10; i++) await Promise.resolve() }

beforeEach(() => {
  vi.useFakeTimers()
  asked = []
  Stream.all = []
  vi.stubGlobal('EventSource', Stream)
  vi.stubGlobal('fetch', (url: string, init?: RequestInit) => new Promise<Response>((ok, no) => {
    init?.signal?.addEventListener('abort', () => no(new DOMException('stopped', 'AbortError')))
    asked.push({
      path: url.replace('/api/v1', ''), signal: init?.signal, fail: () => no(new TypeError('refused')),
      answer: (body, status = 200) => ok({ ok: status < 300, status, json: async () => body } as Response),
    })
  }))
})
afterEach(() => { vi.useRealTimers(); vi.unstubAllGlobals() })

const book = (revision: number, run = 'one') => ({ run, revision, name: `${run} ${revision}` })

// begun is a store that shows a first state.
async function begun(revision = 1): Promise<{ store: Store, stream: Stream }> {
  const store = new Store()
  store.start()
  const stream = Stream.all[0]!
  stream.say('hello', { run: 'one', revision })
  last('/book').answer(book(revision))
  last('/jobs').answer({ jobs: [] })
  await flush()
  return { store, stream }
}

test('what changes is taken up a second later, also while more and more comes', async () => {
  const { store, stream } = await begun()
  const before = open('/book').length
  for (let i = 2; i < 42; i++) { // a change every tenth of a second, for four seconds
    stream.say('changed', { run: 'one', revision: i })
    await vi.advanceTimersByTimeAsync(100)
    if (open('/book').length > before) last('/book').answer(book(i))
    await flush()
  }
  expect(open('/book').length - before).toBeGreaterThanOrEqual(3)
  expect(open('/book').length - before).toBeLessThanOrEqual(4)
  expect(store.revision).toBeGreaterThan(30)
  await vi.advanceTimersByTimeAsync(1100)
  last('/book').answer(book(41))
  await flush()
  expect(store.revision).toBe(41)
})

test('the first answer has nothing asked for again, unless something changed meanwhile', async () => {
  const { store, stream } = await begun()
  expect(store.turn).toBe(0)
  stream.say('changed', { run: 'one', revision: 2 })
  await vi.advanceTimersByTimeAsync(1000)
  last('/book').answer(book(2))
  await flush()
  expect(store.turn).toBe(1)
  const late = new Store()
  late.start()
  Stream.all.at(-1)!.say('hello', { run: 'one', revision: 2 })
  last('/book').answer(book(3))
  await flush()
  expect(late.turn).toBe(1)
})

test('an answer that was overtaken does not count', async () => {
  const { store } = await begun()
  const first = store.load(), second = store.load()
  const [a, b] = open('/book').slice(-2)
  b!.answer(book(3))
  await second
  a!.answer(book(2))
  await first
  expect(store.book?.name).toBe('one 3')
  // nor does a failure
  const third = store.load(), fourth = store.load()
  const [c, d] = open('/book').slice(-2)
  d!.answer(book(4))
  await fourth
  c!.fail()
  await third
  expect(store.problem).toBeNull()
})

test('a slow answer is not asked for anew each second', async () => {
  const { stream } = await begun()
  const before = open('/book').length
  for (let i = 2; i < 12; i++) {
    stream.say('changed', { run: 'one', revision: i })
    await vi.advanceTimersByTimeAsync(1000)
  }
  expect(open('/book').length - before).toBe(1)
  last('/book').answer(book(2)) // it was put together before the rest came
  await flush()
  await vi.advanceTimersByTimeAsync(1000)
  expect(open('/book').length - before).toBe(2)
})

test('the program was started again and counts as far as before', async () => {
  const { store, stream } = await begun(7)
  stream.say('job', { id: '1', state: 'running' })
  stream.breaks()
  expect(store.alive).toBe(false)
  const turn = store.turn
  stream.say('hello', { run: 'two', revision: 7 })
  expect(store.jobs).toEqual([]) // of the old run
  last('/book').answer(book(7, 'two'))
  await flush()
  expect(store.book?.name).toBe('two 7')
  expect(store.turn).toBeGreaterThan(turn)
  expect(store.alive).toBe(true)
})

test('jobs are asked for again when the stream comes back', async () => {
  const { store, stream } = await begun()
  stream.say('job', { id: '1', state: 'running' })
  stream.breaks()
  stream.say('hello', { run: 'one', revision: 1 })
  last('/jobs').answer({ jobs: [{ id: '1', state: 'done' }, { id: '2', state: 'running' }] })
  await flush()
  expect(store.jobs.map((j) => j.id + j.state)).toEqual(['1done', '2running'])
})

test('a job that was told of counts more than an answer that was on its way', async () => {
  const { store, stream } = await begun()
  stream.breaks()
  stream.say('hello', { run: 'one', revision: 1 })
  stream.say('job', { id: '1', state: 'done' })
  last('/jobs').answer({ jobs: [{ id: '1', state: 'running' }, { id: '2', state: 'waiting' }] })
  await flush()
  expect(store.jobs.map((j) => j.id + j.state).sort()).toEqual(['1done', '2waiting'])
})

test('a stream that the browser gives up is opened again', async () => {
  await begun()
  Stream.all[0]!.breaks(true)
  await vi.advanceTimersByTimeAsync(5000)
  expect(Stream.all.length).toBe(2)
})

test('a head that cannot be had is asked for again, and what was shown stays', async () => {
  const { store } = await begun()
  const asking = store.load()
  last('/book').answer({ detail: 'The disk is full.' }, 500)
  await asking
  expect([store.book?.name, store.problem]).toEqual(['one 1', 'The disk is full.'])
  await vi.advanceTimersByTimeAsync(2000)
  last('/book').answer(book(2))
  await flush()
  expect([store.book?.name, store.problem]).toEqual(['one 2', null])
})

test('asking again keeps what is shown when it fails', async () => {
  let told = 0
  const q = new Question<{ n: number }>(() => told++)
  q.ask('/rows')
  last('/rows').answer({ n: 1 })
  await flush()
  expect([q.data, q.error]).toEqual([{ n: 1 }, null])
  q.ask('/rows')
  last('/rows').fail()
  await flush()
  expect(q.data).toEqual({ n: 1 })
  expect(q.error).toContain('does not answer')
  q.ask('/rows')
  last('/rows').answer({ n: 2 })
  await flush()
  expect([q.data, q.error]).toEqual([{ n: 2 }, null])
  // of another path nothing is kept
  q.ask('/other')
  last('/other').fail()
  await flush()
  expect(q.data).toBeNull()
  expect(told).toBe(4)
})

test('a question that was taken back says nothing any more', async () => {
  const q = new Question<{ n: number }>(() => {})
  const leave = q.ask('/rows')
  leave()
  q.ask('/rows')
  last('/rows').answer({ n: 2 })
  open('/rows')[0]!.answer({ n: 1 })
  await flush()
  expect(q.data).toEqual({ n: 2 })
})

// A request for a file as the browser makes it.
class Request {
  static all: Request[] = []
  upload = {}
  status = 0
  sent = false
  aborted = false
  onload?: () => void; onabort?: () => void; onloadend?: () => void
  constructor() { Request.all.push(this) }
  open() {}
  send() { this.sent = true }
  abort() { this.aborted = true; this.onabort?.(); this.onloadend?.() }
  ends(status: number) { this.status = status; this.onload?.(); this.onloadend?.() }
}

test('a file is not sent once bringing was stopped, and leaves nothing behind', async () => {
  vi.stubGlobal('XMLHttpRequest', Request)
  Request.all = []
  const c = new AbortController()
  const listens = vi.spyOn(c.signal, 'addEventListener'), leaves = vi.spyOn(c.signal, 'removeEventListener')
  const first = api.putFile('u', 'a', new Blob(['x']), () => {}, c.signal)
  Request.all[0]!.ends(204)
  await first
  expect([listens.mock.calls.length, leaves.mock.calls.length]).toEqual([1, 1])
  const second = api.putFile('u', 'b', new Blob(['x']), () => {}, c.signal)
  c.abort()
  await expect(second).rejects.toMatchObject({ name: 'AbortError' })
  expect(Request.all[1]!.aborted).toBe(true)
  await expect(api.putFile('u', 'c', new Blob(['x']), () => {}, c.signal)).rejects.toMatchObject({ name: 'AbortError' })
  expect(Request.all.length).toBe(2)
})

test('what is said leaves with its screen, but for a way back', () => {
  const at = { pathname: '/journal', search: '', hash: '' }
  vi.stubGlobal('location', at)
  vi.stubGlobal('addEventListener', () => {})
  vi.stubGlobal('removeEventListener', () => {})
  vi.stubGlobal('history', { pushState: (_: unknown, __: string, to: string) => { [at.pathname, at.search] = [to.split('?')[0]!, to.includes('?') ? '?' + to.split('?')[1] : ''] } })
  const store = new Store()
  const stop = onLeave(() => store.left())
  store.say('Kept.')
  go('/journal?day=2026-05-02')
  expect(store.said?.text).toBe('Kept.') // the same screen
  go('/')
  expect(store.said).toBeNull()
  store.say('Said on the screen that one came to.')
  expect(store.said).not.toBeNull()
  store.say('Done.', async () => {})
  go('/rows')
  expect(store.said?.text).toBe('Done.')
  vi.advanceTimersByTime(12_000)
  expect(store.said).toBeNull()
  stop()
})

test('what is asked for within a screen is part of its address', () => {
  const at = { pathname: '/logbook/relations', search: '', hash: '' }
  const steps: string[] = []
  const move = (_: unknown, __: string, to: string) => { const u = new URL(to, 'http://x'); Object.assign(at, { pathname: u.pathname, search: u.search, hash: u.hash }); steps.push(to) }
  vi.stubGlobal('location', at)
  vi.stubGlobal('history', { pushState: move, replaceState: move })
  go('/logbook/relations#R2-skip')
  go('/logbook/relations#R2-skip') // is there already
  go('/logbook/relations#R3')
  stay({ q: 1 })
  go('/logbook/relations')
  expect(steps).toEqual(['/logbook/relations#R2-skip', '/logbook/relations#R3', '/logbook/relations?q=1#R3', '/logbook/relations'])
})

test('an address that nobody can have meant is read as it stands', () => {
  expect(decoded('/finding/a%20b')).toBe('/finding/a b')
  expect(decoded('/%E0%A4%A')).toBe('/%E0%A4%A')
})

test('single characters do nothing once letter keys are off', () => {
  const kept = new Map<string, string>()
  vi.stubGlobal('localStorage', { getItem: (k: string) => kept.get(k) ?? null, setItem: (k: string, v: string) => kept.set(k, v) })
  expect(unheard({ key: 'n' })).toBe(false)
  setLetterKeys(false)
  for (const key of ['n', 'p', '[', ']', '+', '-', '0', 'c']) expect(unheard({ key })).toBe(true)
  for (const key of ['ArrowLeft', 'Enter', 'Escape', 'Tab', 'PageUp', ' ']) expect(unheard({ key })).toBe(false)
  setLetterKeys(true)
  expect(unheard({ key: 'n' })).toBe(false)
})

test('of work only its begin and its end are spoken', () => {
  const job = (id: string, state: api.Job['state'], says = '') => ({ id, state, says, error: state === 'failed' ? 'The stick is gone.' : '' }) as api.Job
  expect(turned([], [job('old', 'done'), job('a', 'waiting')])).toBe('A reading has begun.')
  expect(turned([job('a', 'waiting')], [job('a', 'running', '1 of 9 days')])).toBe('')
  expect(turned([job('a', 'running', '1 of 9 days')], [job('a', 'running', '2 of 9 days')])).toBe('')
  expect(turned([job('a', 'running')], [job('a', 'done')])).toBe('The reading is done.')
  expect(turned([job('a', 'running')], [job('a', 'failed'), job('b', 'running')])).toBe('The stick is gone. A reading has begun.')
  expect(turned([job('a', 'running')], [job('a', 'stopped', 'Stopped; nothing was taken in.')])).toBe('Stopped; nothing was taken in.')
  expect(turned([job('a', 'running')], [])).toBe('')
})
