import { useEffect, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { ChartView } from '../draw/chart'
import { CourseView } from '../draw/course'
import { CheckView } from '../draw/narrowing'
import { FieldView } from '../draw/field'
import { StripView } from '../draw/strip'
import { Cautions, Needs, Pairs, Text, Title, Wait } from '../parts'
import { go } from '../route'
import { looking, store, useData } from '../state'

export function Finding({ id }: { id: string }) {
  const f = useData<api.Spoken>('/findings/' + encodeURIComponent(id))
  return <Wait of={f}>{(f) => <View f={f} />}</Wait>
}

function View({ f }: { f: api.Spoken }) {
  const w = f.words
  const proof = f.links.courses[0] !== f.links.measure && f.links.courses[0] // of the cause, before what it did
  const tags = [w.passes, w.where, w.due && 'due ' + w.due].filter(Boolean).join(' · ')
  return <>
    <Title page="Finding">{f.sentence}</Title>
    <p class="tags">{tags}</p>
    {w.decisions.map((d) => <p class="tags" key={d}>{d}</p>)}
    {w.check && <p class="near"><strong>{w.check}</strong></p>}
    <div class="finding">
      <div class="act">
        {f.advice.do && <section>
          <h2>What to do</h2>
          <p class="do-it near">{f.advice.do}</p>
          {w.work && <p class="soft">{w.work}</p>}
        </section>}
        {!looking() && f.kind !== 'stop-pays' && f.kind !== 'go-on-pays' && f.kind !== 'setting-better' && <section><Decide f={f} /></section>}
        {f.kind === 'setting-better' && <div class="buttons gap"><a class="btn first" href="/balance">Look at the balance</a></div>}
        <Cautions list={f.advice.cautions} head="Take care" />
      </div>
      <div class="worth">
        {w.causes.length > 0 && <section><h2>Causes</h2><Pairs label="Causes with their odds" rows={w.causes} /></section>}
        <section><h2>Money</h2>
          {w.money_rows.length > 0 ? <Pairs label="Money" rows={w.money_rows} /> : f.needs.length === 0 && <p class="near soft">Nothing to price.</p>}
          {f.needs.length > 0 && <><p class="near">{w.money_rows.length > 0 ? 'The rest cannot be said without:' : 'What it costs cannot be said without:'}</p><ul class="near"><Needs of={f.needs} /></ul></>}
          {w.money_says.length > 0 && <details class="still">
            <summary>Where the figures come from</summary>
            {w.money_says.map((s) => <p key={s} class="small">{s}</p>)}
            {w.cites.length > 0 && <ul class="small near">{w.cites.map((c) => <li key={c.id}><a href={'/logbook/relations#' + c.id}>{c.title}</a>: {c.texts.join('; ')}</li>)}</ul>}
            <p class="small near"><a href="/logbook/prices">Prices and yield goal</a></p>
          </details>}
        </section>
      </div>
      <div class="drawn">
        {f.check_back && f.check && f.check.rows.length > 0 && <section><CheckView c={f.check_back} d={f.check} head /></section>}
        {f.links.ground && <Field f={f} />}
        {f.links.strip && <Ground f={f} />}
        {proof && <Through f={f} measure={proof} />}
        {f.chart && f.drawn && <section><ChartView c={f.chart} d={f.drawn} /></section>}
        {f.links.courses.filter((m) => m !== proof).map((m, i) => <Through key={m} f={f} measure={m} still={i > 0 || f.chart !== undefined} />)}
        <section class="still">
          <h2>Evidence</h2>
          <div class="near"><Pairs label="Evidence" rows={w.evidence} /></div>
        </section>
        {f.cannot_say.length > 0 && <section>
          <h2>What the data cannot tell</h2>
          <ul class="near">{f.cannot_say.map((s) => <li key={s}>{s}</li>)}</ul>
        </section>}
      </div>
      <section class="seen"><Seen f={f} /></section>
    </div>
  </>
}

function Ground({ f }: { f: api.Spoken }) {
  const d = useData<api.Strip>(`/findings/${f.id}/strip`)
  return d.data && d.data.rows.length > 0 ? <section><StripView s={d.data} /></section> : null
}

function Field({ f }: { f: api.Spoken }) {
  const d = useData<api.FindingGround>(`/findings/${f.id}/ground`)
  return d.data && d.data.bounds.length === 4 ? <section><FieldView g={d.data} /></section> : null
}

// Through is a measure's course through the day.
function Through({ f, measure, still }: { f: api.Spoken, measure: string, still?: boolean }) {
  const d = useData<api.Course>(`/findings/${f.id}/course` + api.query({ measure }))
  return d.data && d.data.rows.length > 1 ? <section class={still ? 'still' : undefined}><CourseView c={d.data} /></section> : null
}

// Decide records what was done about it; each can be taken back.
function Decide({ f }: { f: api.Spoken }) {
  const [other, setOther] = useState(false)
  const [cause, setCause] = useState('')
  const [note, setNote] = useState('')
  const [earlier, setEarlier] = useState(false)
  const [at, setAt] = useState('')
  const [error, setError] = useState('')
  const form = useRef<HTMLFormElement>(null)
  // The button that was pressed goes: the one that undoes it takes the focus.
  const buttons = useRef<HTMLDivElement>(null)
  const pressed = useRef(false)
  useEffect(() => {
    if (pressed.current) buttons.current?.querySelector('button')?.focus()
    pressed.current = false
  }, [f.status])
  useEffect(() => { if (other) form.current?.scrollIntoView({ block: 'nearest' }) }, [other])
  const record = async (status: 'acted' | 'set-aside' | 'open', cause = '', note = '') => {
    try {
      setError('')
      const now = await api.send<api.Spoken>('POST', `/findings/${f.id}/decisions`, { status, cause, note, ...(status === 'acted' && at.trim() && { at: at.trim() }) })
      pressed.current = true
      setOther(false)
      setEarlier(false)
      setAt('')
      if (status === 'open') store.say(now.said || 'Open again.')
      else store.say(now.said || 'Recorded.', async () => { await api.send('POST', `/findings/${f.id}/decisions`, { status: 'open' }) })
      void store.load()
    } catch (e) { setError((e as Error).message) }
  }
  const failed = f.status === 'checked' && f.check_back?.verdict === 'did not work' && f.until === null
  const undo = f.words.decisions.length > 0
  if (f.status === 'checked' && !undo && !failed) return null // the journal says what was done
  if (!failed && (f.status === 'acted' || f.status === 'set-aside' || f.status === 'checked')) {
    return <div class="buttons" ref={buttons}><button onClick={() => void record('open')}>{f.status === 'set-aside' ? 'Take it up again' : 'Not done after all'}</button></div>
  }
  return <>
    <div class="buttons decide" ref={buttons}>
      <div>
        <button class="first" onClick={() => void record('acted')}>{failed ? 'Done again' : 'Done'}</button>
        <button onClick={() => void record('set-aside')}>Not now</button>
      </div>
      <button aria-expanded={earlier} onClick={() => { setEarlier(!earlier); setOther(false) }}>Done earlier</button>
      <button aria-expanded={other} onClick={() => { setOther(!other); setEarlier(false) }}>It was something else</button>
      {failed && undo && <button onClick={() => void record('open')}>Not done after all</button>}
    </div>
    {earlier && <form class="near" onSubmit={(e) => { e.preventDefault(); void record('acted') }}>
      <Text label="When was it done?" hint="2:05 pm (of the day of the finding), may 2 14:05, 40 min ago" value={at} set={setAt} />
      <p class="near soft">From the next lowering after that on the logs tell whether it worked.</p>
      <div class="buttons near"><button class="first" type="submit" disabled={!at.trim()}>It was done then</button></div>
    </form>}
    {other && <form ref={form} class="near" onSubmit={(e) => { e.preventDefault(); void record('acted', cause, note) }}>
      {f.causes.length > 1 && <div class="buttons near">{f.causes.slice(1).map((c) => <button type="button" key={c.cause} aria-pressed={cause === c.cause} onClick={() => setCause(c.cause)}>{c.cause}</button>)}</div>}
      <div class="near"><Text label="What was it?" value={cause} set={setCause} /></div>
      <div class="near"><Text label="When, if not now" value={at} set={setAt} /></div>
      <div class="near"><Text label="A note, if you like" value={note} set={setNote} /></div>
      <div class="buttons near"><button class="first" type="submit" disabled={!cause.trim()}>Done, it was this</button></div>
    </form>}
    {error && <p class="near" role="alert">{error}</p>}
  </>
}

// Seen leads to the other screens that show it.
function Seen({ f }: { f: api.Spoken }) {
  const l = f.links
  return <div class="buttons">
    {l.pass && <button onClick={() => go('/ribbon' + api.query({ pass: l.pass, row: l.row || undefined, finding: f.id }))}>See it on the ribbon</button>}
    {l.ground && <button onClick={() => go('/ground' + api.query({ field: f.field, finding: f.id }))}>See it on the ground</button>}
    {l.measure && l.pass && <button onClick={() => go('/ground' + api.query({ measure: l.measure, from: l.day, to: l.day, finding: f.id }))}>See it on the ground</button>}
    {l.measure && <button onClick={() => go('/rows' + api.query({ measure: l.measure, planter: l.planter, field: f.field === 'unassigned' ? '' : f.field, from: l.day, to: l.day }))}>Compare the rows</button>}
  </div>
}
