import type { ComponentChildren } from 'preact'
import { useLayoutEffect, useState } from 'preact/hooks'
import type * as api from '../api'
import { Title } from '../parts'
import { Waiting } from '../recipe/waiting'
import { usePlace } from '../route'
import { keep, store, useStore } from '../state'
import { over, seen } from './came'
import { Drop } from './drop'

export function Bring() {
  const store = useStore()
  const [job, setJob] = useState('')
  const { q } = usePlace()
  const j = store.jobs.find((x) => x.id === (job || q.get('job')))
  useSaw(j)
  return <>
    <Title page="Bring logs">{j?.state === 'done' ? 'Read.' : 'Bring logs'}</Title>
    {j && <Done j={j} />}
    <Waiting />
    <div class="gap"><Drop started={setJob} /></div>
  </>
}

// useSaw remembers that one has seen what a reading came to, as soon as it is on
// the screen and it is known which run of the program told it.
export function useSaw(j: api.Job | undefined) {
  const run = useStore().book?.run
  useLayoutEffect(() => {
    if (!j || !run || !over(j)) return
    keep('told', seen(j, run))
    store.tell()
  }, [j?.id, j?.state, run])
}

// Done is what a reading came to: what was taken in, what was not and why.
export function Done({ j, here }: { j: api.Job, here?: boolean }) {
  if (j.state === 'failed') return <div class="notice bad near" role="alert"><p>{j.error}</p><p>Nothing that was in the logbook was harmed.</p></div>
  if (j.state === 'stopped') return <div class="notice near"><p>{j.says}</p></div>
  if (!j.result) return <p class="near soft">{j.says || 'Waiting for its turn'}…</p>
  const r = j.result
  return <>
    {r.says.map((s) => <p class="near" key={s}>{s}</p>)}
    {!here && <div class="buttons near"><a class="btn first" href="/">To the worklist</a></div>}
    {r.sources.length > 0 && <section class="gap"><h2>What each box can tell</h2>{r.sources.map((s) => <Box key={s.name} s={s} />)}</section>}
    {r.unused.length > 0 && <section class="gap"><h2>Not used</h2><ul class="near">{r.unused.map((u) => <li key={u}>{u}</li>)}</ul></section>}
  </>
}

// Box is one box's log: its grade, what it can and cannot tell, what to switch
// on tomorrow.
export function Box({ s, more, children }: { s: api.Source, more?: boolean, children?: ComponentChildren }) {
  return <article class="box">
    <h3>{s.name}{s.grade && <span class="soft"> · grade {s.grade}, {s.means}</span>}</h3>
    <p>{s.gave}.</p>
    {s.can.length > 0 && <p class="near">Tells {s.can.join('; ')}.</p>}
    {s.cannot.length > 0 && <p>Cannot tell {s.cannot.join('; ')}.</p>}
    {s.better.length > 0 && <p class="near"><b>To switch on tomorrow:</b> {s.better.join(' ')}</p>}
    {s.notes.map((n) => <p class="near soft" key={n}>{n}</p>)}
    {more && <>
      {s.says.map((n) => <p class="near" key={n}>{n}</p>)}
      {s.unused.length > 0 && <details><summary>Not used: {s.unused.length}</summary><ul>{s.unused.map((u) => <li key={u}>{u}</li>)}</ul></details>}
      {s.files.length > 0 && <details><summary>Files: {s.files.length}</summary><ul class="small">{s.files.map((f) => <li key={f}>{f}</li>)}</ul></details>}
    </>}
    {children}
  </article>
}
