import { useEffect, useState } from 'preact/hooks'
import type * as api from '../api'
import { BoxLines } from '../bring/boxline'
import { Done, useSaw } from '../bring/bring'
import { leftOut, over, unseen } from '../bring/came'
import { Drop } from '../bring/drop'
import { Cautions, Needs, Title, Wait } from '../parts'
import { Waiting } from '../recipe/waiting'
import { stay, usePlace } from '../route'
import { keep, kept, useData, useStore } from '../state'
import { Price } from './price'

// What was listed when one last looked, so that what is new can be marked.
function lastLook(book: string): Set<string> | null {
  const s = kept('seen.' + book, '')
  return s ? new Set(s.split(',')) : null
}

export function Worklist() {
  const all = usePlace().q.has('all')
  const w = useData<api.Worklist>('/worklist' + (all ? '?all=true' : ''))
  return <Wait of={w}>{(w) => w.empty ? <Empty /> : <List w={w} all={all} />}</Wait>
}

function Empty() {
  return <>
    <Title page="Worklist">Bring the logs of a day.</Title>
    <p class="near soft">Drop what the boxes in the cab wrote: a stick, a folder, a zip, single files. The worklist is what comes of it. Nothing leaves this computer.</p>
    <Refused />
    <Waiting />
    <div class="gap"><Drop /></div>
    <Reads />
  </>
}

// Refused says on the first screen what became of what was brought last, when no
// list came of it.
function Refused() {
  const j = useStore().jobs.filter((x) => x.what === 'read').at(-1)
  useSaw(j)
  return j && over(j) ? <section class="gap" aria-label="What became of it">
    {j.state === 'done' && <h2>No worklist could be made of it</h2>}
    <Done j={j} here />
    {j.state === 'done' && j.result!.left_out > 0 && <p class="near soft">What the boxes in the cab wrote is needed: task data, bus captures, receiver logs, seed logs or tables. Look for it on the stick, and bring the whole folder.</p>}
  </section> : null
}

// LeftOut leads to what was not used, until that was seen.
function LeftOut() {
  const store = useStore()
  const j = unseen(store.jobs, store.book?.run ?? '', kept('told', ''))
  return j ? <p class="notice near">{j.state === 'failed' ? 'Reading failed' : leftOut(j)}: <a href={'/bring?job=' + j.id}>what and why</a></p> : null
}

// Reads says how the logs will be read, where that can be changed before they
// are brought.
function Reads() {
  const book = useStore().book
  if (!book) return null
  return <p class="gap soft">Times are shown in {book.zone.replaceAll('_', ' ')}, measures in {book.units === 'us' ? 'US customary' : 'metric'} units. {!book.read_only && <a href="/logbook/prices">Change</a>}</p>
}

function List({ w, all }: { w: api.Worklist, all: boolean }) {
  const store = useStore()
  const [before] = useState(() => lastLook(w.book))
  const ids = w.groups.flatMap((g) => g.findings.map((f) => f.id))
  useEffect(() => {
    if (!all) keep('seen.' + w.book, ids.join(',') || 'none')
  }, [ids.join(), all])
  const fresh = (id: string) => before !== null && !before.has(id)
  const news = ids.filter(fresh).length
  const gone = before && !all ? [...before].filter((id) => id !== 'none' && !ids.includes(id)).length : 0
  return <>
    <Title page="Worklist">{w.summary}</Title>
    {store.book?.ended && <p class="tags">As of {store.book.ended}.</p>}
    {w.aboard.length > 0 && <p class="tags">{w.aboard.join(' ')}</p>}
    {(news > 0 || gone > 0) && !all && <p class="tags">Since your last look: {[news > 0 && `${news} new`, gone > 0 && `${gone} no longer listed`].filter(Boolean).join(', ')}.</p>}
    <LeftOut />
    <Waiting brief />
    {store.book && !store.book.priced && !store.book.read_only && ids.length > 0 && <Price />}
    {w.groups.map((g) => <section key={g.title} aria-label={g.title}>
      <div class={g.title === 'Now' ? 'group now' : 'group'}><h2>{g.title}</h2><span>{g.note}</span></div>
      {g.findings.map((f) => <Item key={f.id} f={f} fresh={fresh(f.id)} />)}
    </section>)}
    <Cautions list={w.cautions.slice(0, 2)} />
    {w.not_judged.length > 0 && <section class="gap"><h2>Not looked for</h2><ul class="near"><Needs of={w.not_judged} /></ul></section>}
    {!all && <Boxes book={w.book} />}
    <p class="gap still more">
      {all ? <a href="/">Only what is to do</a>
        : w.hidden > 0 && <a href="/?all" onClick={(e) => { e.preventDefault(); stay({ all: '1' }) }}>{w.hidden} more: suspected, over, worked, passing trouble</a>}
    </p>
  </>
}

// Boxes gives one line a box: what its log is, and what to switch on tomorrow.
// It stays until one has seen it, and comes back when a box or its grade is new.
function Boxes({ book }: { book: string }) {
  const d = useData<api.Sources>('/sources')
  const [, again] = useState(0)
  const sources = d.data?.sources ?? []
  const now = sources.map((s) => s.name + ':' + s.grade + s.silent).join(',')
  if (sources.length === 0 || kept('boxes.' + book, '') === now) return null
  return <section class="gap still" aria-label="Boxes">
    <h2>What each box can tell</h2>
    <div class="near"><BoxLines of={sources} /></div>
    <div class="buttons near"><button onClick={() => { keep('boxes.' + book, now); again((n) => n + 1) }}>Seen</button><a class="btn" href="/logbook">More of each</a></div>
  </section>
}

function Item({ f, fresh }: { f: api.Spoken, fresh: boolean }) {
  const over = f.status !== 'open' && !(f.status === 'checked' && f.check_back?.verdict === 'did not work' && f.until === null)
  return <article class="item">
    <div>
      <div class="s"><a href={'/finding/' + f.id}>{f.sentence}</a>{fresh && <span class="new">new</span>}</div>
      {f.words.decisions.map((d) => <div class="do" key={d}>{d}</div>)}
      {f.words.check && <div class="do">{f.words.check}</div>}
      {!over && f.words.step && <div class="do">{f.words.step}{f.words.work && <span class="soft nowrap"> · {f.words.work}</span>}</div>}
    </div>
    <div class="money">{f.words.sum}<small>{f.words.sum_of}</small></div>
  </article>
}
