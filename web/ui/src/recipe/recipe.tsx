// How a table is read: its first lines with what each column is taken for, what
// is open, and what comes of it. Nothing is kept while something is open.
import { useEffect, useMemo, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { Text, Title, Wrong } from '../parts'
import { go } from '../route'
import { looking, store, useData, useStore } from '../state'
import { Table, type Pending } from './table'

type Answers = Record<string, string>

export function RecipePage({ q }: { q: URLSearchParams }) {
  const { book } = useStore()
  if (looking()) return <><Title page="Explain a table">A table to explain</Title><p class="notice near">This screen may only look. Explain tables where the logbook is open.</p></>
  return book ? <Explain q={q} /> : <><Title page="Explain a table">What is in {q.get('inside') || q.get('path')}?</Title><p class="soft near" role="status">One moment…</p></>
}

function Explain({ q }: { q: URLSearchParams }) {
  const which = useMemo(() => ({ upload: q.get('upload') ?? '', path: q.get('path') ?? '', inside: q.get('inside') ?? '', sheet: q.get('sheet') ?? '' }), [q])
  const memory = 'evenstand.recipe.' + q.toString()
  const [answers, setAnswers] = useState<Answers>(() => remembered(memory))
  const [view, setView] = useState<api.Proposal | null>(null)
  const [error, setError] = useState('')
  const [gone, setGone] = useState('')
  const [pending, setPending] = useState<Pending>({})
  const [box, setBox] = useState<string | null>(null)
  const [busy, setBusy] = useState(false)
  const latest = useRef(answers)
  const turn = useRef(0)
  const heading = useRef<HTMLHeadingElement>(null)
  // Each change is asked about; one that is refused is taken back.
  const ask = async (next: Answers, before: Answers): Promise<void> => {
    const mine = ++turn.current
    latest.current = next
    setBusy(true)
    try {
      const got = await api.send<api.Proposal>('POST', '/recipes/propose', { ...which, answers: next })
      if (mine !== turn.current) return
      setView(got)
      setAnswers(next)
      setError('')
      try { sessionStorage.setItem(memory, JSON.stringify(next)) } catch { /* private window */ }
    } catch (e) {
      if (mine !== turn.current) return
      const p = e as api.Problem
      latest.current = before
      if (!view && p.status === 422 && Object.keys(next).length > 0) return ask({}, {}) // remembered ones that no longer fit
      if (view && p.status === 422) setError(p.message)
      else setGone(p.message)
    }
    setBusy(false)
  }
  useEffect(() => { void ask(answers, {}) }, [])
  // What was answered is gone from the page: who works by keys goes on from the
  // count of what is open.
  useEffect(() => { if (view && turn.current > 1 && document.activeElement === document.body) heading.current?.focus({ preventScroll: true }) }, [view])
  const answer = (id: string, to: string | null) => {
    const next = { ...latest.current }
    if (to === null) delete next[id]
    else next[id] = to
    void ask(next, latest.current)
  }
  if (gone) return <><Title page="Explain a table">That table cannot be explained now.</Title><div class="near"><Wrong text={gone} /></div><p class="gap"><a href="/bring">Bring logs</a></p></>
  if (!view) return <><Title page="Explain a table">What is in {q.get('inside') || q.get('path')}?</Title><p class="soft near" role="status">One moment…</p></>
  const open = view.questions.length + Object.keys(pending).length
  const name = box ?? view.box
  const keep = async () => {
    setBusy(true)
    try {
      const kept = await api.send<api.Kept>('POST', '/recipes', { ...which, answers, box: name })
      try { sessionStorage.removeItem(memory) } catch { /* private window */ }
      go('/')
      scrollTo(0, 0)
      store.say(kept.says + (kept.jobs.length ? ' It is being read; the worklist follows.' : ''))
    } catch (e) { setError((e as Error).message); setBusy(false) }
  }
  const certain = view.offers.filter((o) => o.state === 'certain' || o.state === 'said')
  const left = view.offers.filter((o) => o.state === 'unread')
  return <>
    <Title page="Explain a table">What is in {view.name}?</Title>
    <p class="near soft">{view.written}{view.hidden > 0 && ` The first ${view.columns.length} columns are shown; ${view.hidden} more are read like them.`} What it is taken for stands above each column.</p>
    {view.no_row && <p class="notice near" role="note"><b>{view.no_row}</b></p>}
    <div class="near"><Table view={view} pending={pending} setPending={setPending} answer={answer} /></div>

    <section class="gap" aria-label="Open">
      <h2 ref={heading} tabIndex={-1} aria-live="polite">{open === 0 ? 'Nothing is open' : open === 1 ? 'One thing is open' : `${open} things are open`}</h2>
      {Object.keys(pending).map((c) => <p class="near" key={c}>Above <b>{c}</b>: choose its unit, or how it is given.</p>)}
      {view.questions.map((x) => <Ask key={x.id} q={x} answer={answer} />)}
      {view.answered.length > 0 && <details><summary>Answered: {view.answered.length}</summary>
        <ul class="answered">{view.answered.map((a) => <li key={a.id}><span>{a.text}<br /><b>{a.says}</b></span><button onClick={() => answer(a.id, null)}>Ask again</button></li>)}</ul></details>}
      {certain.length > 0 && <details><summary>Certain: {columns(certain)}</summary>
        <ul class="near">{certain.map((o) => <li key={o.column}><b>{o.column}</b>{o.count > 1 && ` (${o.count} columns)`}: {o.means}</li>)}
          {view.words.filter((w) => w.read).map((w) => <li key={w.word}><b>{w.word}</b>: {w.means}</li>)}</ul></details>}
      {left.length + view.words.filter((w) => !w.read).length > 0 && <details open={left.length <= 6}><summary>Not read: {told(left.map((o) => o.column)) || 'some names'}</summary>
        <ul class="near">{left.map((o) => <li key={o.column}><b>{o.column}</b>{o.count > 1 && ` (${o.count} columns)`}: {o.means}</li>)}
          {view.words.filter((w) => !w.read).map((w) => <li key={w.word}><b>{w.word}</b>: {w.means}</li>)}</ul></details>}
    </section>

    <section class="gap" aria-label="So it is read">
      <h2>So it is read</h2>
      {view.error && <p class="near" role="alert"><b>{view.error}</b></p>}
      {view.preview.length === 0 && !view.error && <p class="near soft">The first lines are shown here as soon as what is open leaves no doubt about them.</p>}
      <ul class="preview near">{view.preview.map((m) => <li key={m.day + m.time}><b>{m.time}</b> <span class="soft">{m.day}</span><br />{m.says.join('; ')}{m.more > 0 && `; and ${m.more} more`}</li>)}</ul>
      {view.supposed.map((s) => <p class="near soft" key={s}>{s}</p>)}
      {view.unused.map((s) => <p class="near soft" key={s}>Not used: {s}</p>)}
    </section>

    <section class="gap keep" aria-label="Keep it">
      <Text label="What do you call the box that writes such tables?" hint="the name under which it stands in the logbook" value={name} set={setBox} />
      {error && <p class="near" role="alert"><b>{error}</b></p>}
      <div class="buttons near">
        <button class="first" disabled={busy || open > 0 || !view.ready || !name.trim()} onClick={() => void keep()}>Keep and read it</button>
        <a class="btn" href="/logbook/recipes">Not now</a>
      </div>
      {open > 0 && <p class="near soft">It can be kept once nothing is open.</p>}
      {view.recipe && <details><summary>The recipe as a text</summary><pre class="small text">{view.recipe}</pre></details>}
    </section>
  </>
}

// told names the first of many.
export const told = (l: string[], few = 4): string => l.length <= few ? l.join(', ') : `${l.slice(0, few - 1).join(', ')} and ${l.length - few + 1} more`

const columns = (l: api.ColumnView[]) => { const n = l.reduce((k, o) => k + o.count, 0); return n === 1 ? '1 column' : `${n} columns` }

function remembered(key: string): Answers {
  try { return JSON.parse(sessionStorage.getItem(key) ?? '{}') as Answers } catch { return {} }
}

// Ask is one question with its answers as buttons.
function Ask({ q, answer }: { q: api.Question, answer: (id: string, to: string) => void }) {
  const [other, setOther] = useState('')
  const set = useData<api.Settings>(q.id === 'zone' ? '/settings' : '')
  return <fieldset class="question">
    <legend>{q.text}</legend>
    <div class="options">{q.options.map((o) => <button key={o.key} onClick={() => answer(q.id, o.key)}>{o.text}{o.key === q.proposed && <span class="new">likely</span>}</button>)}</div>
    {q.id === 'zone' && <details><summary>Another zone</summary>
      <form class="pick" onSubmit={(e) => { e.preventDefault(); if (other.trim()) answer(q.id, other.trim()) }}>
        <label>Zone <input value={other} list="recipe-zones" autocomplete="off" placeholder="America/Denver" onInput={(e) => setOther(e.currentTarget.value)} /></label>
        <datalist id="recipe-zones">{set.data?.zones.map((z) => <option key={z} value={z} />)}</datalist>
        <button type="submit" disabled={!other.trim()}>It is this one</button>
      </form></details>}
  </fieldset>
}
