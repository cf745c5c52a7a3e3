import type { ComponentChild } from 'preact'
import { useEffect, useRef, useState } from 'preact/hooks'
import { Ask } from './bring/ask'
import { Balance } from './balance/balance'
import { Bring } from './bring/bring'
import { Changed } from './changed/changed'
import { Cost } from './cost/cost'
import { Finding } from './finding/finding'
import { Give } from './give/give'
import { HandOver } from './handover/handover'
import { Journal } from './journal/journal'
import { Logbook } from './logbook/logbook'
import { More } from './more/more'
import { Ground } from './ground/ground'
import { Title } from './parts'
import { RecipePage } from './recipe/recipe'
import { go, usePlace, type Place } from './route'
import { Counts } from './counts/counts'
import { MakeUp } from './makeup/makeup'
import { Papers } from './paper/paper'
import { Replant } from './replant/replant'
import { Ribbon } from './ribbon/ribbon'
import { Rows } from './rows/rows'
import { dress, looking, setDress, settleNow, turned, unheard, useStore, working } from './state'
import * as api from './api'
import { RowTrial } from './trial/trial'
import { Trials } from './trial/list'
import { keeper } from './walk/keep'
import { Walk } from './walk/walk'
import { Worklist } from './worklist/worklist'

interface Entry { name: string, to: string }

// The screens by when they are wanted: in the shop all of them, in the cab the
// few that a moving machine leaves room for.
const shop: { head: string, of: Entry[] }[] = [
  { head: 'Today', of: [{ name: 'Worklist', to: '/' }, { name: 'Ribbon', to: '/ribbon' }, { name: 'Ground', to: '/ground' }, { name: 'Rows', to: '/rows' }] },
  { head: 'Try', of: [{ name: 'Journal', to: '/journal' }, { name: 'Check-back', to: '/changed' }, { name: 'Balance', to: '/balance' }, { name: 'Row trial', to: '/trial' }] },
  { head: 'After', of: [{ name: 'Hand over', to: '/handover' }, { name: 'Cost sheet', to: '/cost' }, { name: 'Walk list', to: '/walk' }, { name: 'Counts', to: '/counts' }, { name: 'Replant', to: '/replant' }, { name: 'Make up', to: '/makeup' }, { name: 'Papers', to: '/paper' }, { name: 'Give', to: '/give' }] },
  { head: 'Always', of: [{ name: 'Logbook', to: '/logbook' }, { name: 'Bring logs', to: '/bring' }, { name: 'How it looks', to: '/more' }] },
]
const cab: Entry[] = [{ name: 'Now', to: '/' }, { name: 'Changed', to: '/changed' }, { name: 'Rows', to: '/rows' }, { name: 'More', to: '/more' }]

function screen(p: Place): ComponentChild {
  const [, first, second] = p.path.split('/')
  switch (first) {
    case '': return <Worklist />
    case 'finding': return <Finding key={second} id={second ?? ''} />
    case 'ribbon': return <Ribbon />
    case 'ground': return <Ground />
    case 'rows': return <Rows />
    case 'journal': return <Journal />
    case 'balance': return <Balance />
    case 'trial': return second ? <RowTrial key={second} id={second} /> : <Trials />
    case 'changed': return <Changed />
    case 'cost': return <Cost />
    case 'give': return <Give />
    case 'walk': return <Walk />
    case 'counts': return <Counts />
    case 'makeup': return <MakeUp />
    case 'paper': return <Papers />
    case 'replant': return <Replant />
    case 'handover': return <HandOver />
    case 'logbook': return <Logbook tab={second ?? ''} />
    case 'recipe': return <RecipePage key={p.q.toString()} q={p.q} />
    case 'bring': return <Bring />
    case 'more': return <More />
  }
  return <><Title page="No such screen">There is no such screen.</Title><p class="near"><a href="/">To the worklist</a></p></>
}

function current(to: string, path: string): boolean {
  if (to === '/') return path === '/' || path.startsWith('/finding/')
  if (to === '/changed' && path === '/journal' && dress() === 'cab') return true
  return path === to || path.startsWith(to + '/') || to === '/bring' && path === '/recipe'
}

export function App() {
  const store = useStore()
  const place = usePlace()
  const [open, setOpen] = useState(false)
  const inCab = dress() === 'cab'
  useEffect(() => setOpen(false), [place.path])
  useEffect(() => {
    const keys = (e: KeyboardEvent) => {
      const el = e.target as HTMLElement
      if (unheard(e) || e.ctrlKey || e.metaKey || e.altKey || /^(INPUT|SELECT|TEXTAREA)$/.test(el.tagName)) return
      const to: Record<string, string> = { w: '/', r: '/ribbon', g: '/ground', o: '/rows', j: '/journal', k: '/changed', a: '/balance', t: '/trial', h: '/handover', s: '/cost', l: '/logbook', b: '/bring' }
      const t = to[e.key]
      if (t) { e.preventDefault(); go(t) }
      if (e.key === 'c') { setDress(inCab ? 'shop' : 'cab') }
    }
    addEventListener('keydown', keys)
    return () => removeEventListener('keydown', keys)
  }, [inCab])
  const b = store.book
  useEffect(() => b ? keeper.near(b.id, !b.read_only) : undefined, [b?.id, b?.read_only, store.alive])
  const entry = (e: Entry) => <a key={e.to} href={e.to} aria-current={current(e.to, place.path) ? 'page' : undefined}>{e.name}</a>
  return <div class="frame">
    <a class="skip" href="#screen" onClick={(e) => { e.preventDefault(); document.querySelector<HTMLElement>('h1')?.focus() }}>To the content</a>
    <header class="head">
      <b><a href="/">Evenstand</a></b>
      <span class="where">{b ? (b.place || b.name) : ''}</span>
      <span class="state">{!store.alive ? 'The program does not answer' : store.problem && b ? 'Not up to date; asking again' : b?.state}</span>
      <button class="menu" aria-expanded={open} aria-controls="list" onClick={() => setOpen(!open)}>{open ? 'Close' : 'Screens'}</button>
    </header>
    <nav class={open ? 'list open' : 'list'} id="list" aria-label="Screens">
      {inCab ? cab.map(entry) : shop.map((g) => <div key={g.head}><h2>{g.head}</h2>{g.of.map(entry)}</div>)}
    </nav>
    <main class="screen" id="screen">
      {b && !b.read_only && b.ask.map((a) => <Ask key={a.planter} a={a} />)}
      {!/^\/(bring|logbook|recipe|more)/.test(place.path) && <Again />}
      {store.problem && !b && place.path !== '/walk' ? <div class="notice bad" role="alert"><p>{store.problem}</p>{navigator.serviceWorker?.controller && <p><a href="/walk">The walk list that is kept here</a></p>}</div> : screen(place)}
    </main>
    <Foot />
  </div>
}

// Again says that what is shown is of before, while what was changed is taken up.
function Again() {
  const { jobs, book } = useStore()
  const j = jobs.find((x) => x.what === 'settle' && working(x))
  if (j) return <div class="notice again" role="note"><p><b>The days are made again{j.state === 'running' && j.says && `: ${j.says.charAt(0).toLowerCase() + j.says.slice(1)}`}.</b> What stands below is from before; the new appears by itself.</p></div>
  if (!book?.stale || jobs.some(working)) return null
  return <div class="notice again" role="note"><p><b>What was changed or noted last is not in the figures yet.</b> What stands below is from before.</p>
    {!book.read_only && <div class="buttons near"><button onClick={settleNow}>Take it up now</button></div>}</div>
}

// Foot shows what runs and what was just done, with the way back. How far a
// reading is can be looked at; spoken are its begin and its end.
function Foot() {
  const store = useStore()
  const { said } = store
  const [aloud, say] = useState('')
  const was = useRef(store.jobs)
  useEffect(() => {
    const t = turned(was.current, store.jobs)
    was.current = store.jobs
    if (t) say(t)
  }, [store.jobs])
  const busy = store.jobs.filter(working)
  return <div class="foot">
    {busy.map((j) => <div class="job" key={j.id}>
      <div><span>{j.state === 'waiting' ? 'Waiting for its turn' : j.says || 'Reading'}</span>
        {!looking() && <button onClick={() => void api.send('DELETE', `/jobs/${j.id}`).catch((e: Error) => store.say(e.message))}>Stop</button>}</div>
      <progress max={j.total || undefined} value={j.total ? j.done : undefined} aria-label="How far the reading is" />
    </div>)}
    <div class="hush" role="status">{aloud}</div>
    <div role="status" aria-live="polite">
      {said && <div class="said"><span>{said.text}</span>
        {said.undo && <button onClick={() => { void said.undo!().then(() => store.say('Taken back.'), (e: Error) => store.say(e.message)) }}>Undo</button>}
        {said.link && <a class="btn" href={said.link.to}>{said.link.name}</a>}
      </div>}
    </div>
  </div>
}
