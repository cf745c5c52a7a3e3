// Papers: who gets them is chosen first, then which; the screen shows what is printed.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { query } from '../api'
import { Choice, fieldName, Text, Title, Wide, Wrong } from '../parts'
import { stay, usePlace } from '../route'
import { kept, keep, looking, useData } from '../state'

type Doc = api.PaperBundle['documents'][number]

export function Papers() {
  const { q } = usePlace()
  const l = useData<api.PaperList>('/papers')
  if (l.error) return <><Title page="Papers">Papers</Title><Wrong text={l.error} again={l.again} /></>
  if (!l.data) return <p class="soft" role="status">One moment…</p>
  const who = q.get('for') ?? '', of = l.data.for.find((x) => x.for === who)
  const whats = of ? l.data.papers.filter((k) => of.what.includes(k.what)) : l.data.papers
  const what = whats.some((k) => k.what === q.get('what')) ? q.get('what')! : q.get('what') === 'all' ? 'all' : whats[0]!.what
  const size = q.get('size') ?? kept('paper-size', 'letter')
  const asked = query({ for: who || undefined, field: q.get('field') || undefined, cost: q.get('cost') || undefined, speed: q.get('speed') || undefined, people: q.get('people') || undefined })
  const file = (as: string) => `/api/v1/papers/${what}/file${asked}${asked ? '&' : '?'}as=${as}&size=${size}`
  const tick = (k: string, says: string) => <label class="tick"><input type="checkbox" checked={q.get(k) === 'true'} onChange={(e) => stay({ [k]: e.currentTarget.checked ? 'true' : undefined })} /> {says}</label>
  return <>
    <Title page="Papers">Papers</Title>
    <div class="pick gap">
      <Choice label="For" value={who} set={(x) => stay({ for: x || undefined, what: undefined })} of={[{ value: '', text: 'ourselves' }, ...l.data.for.map((x) => ({ value: x.for, text: x.title }))]} />
      <Choice label="Paper" value={what} set={(x) => stay({ what: x })} of={[...whats.map((k) => ({ value: k.what, text: k.title })), { value: 'all', text: 'all of them' }]} />
      {l.data.fields.length > 1 && <Choice label="Field" value={q.get('field') ?? ''} set={(x) => stay({ field: x || undefined })} of={[{ value: '', text: 'all' }, ...l.data.fields.map((f) => ({ value: f, text: fieldName(f) }))]} />}
      <Choice label="Size" value={size} set={(x) => { keep('paper-size', x); stay({ size: x }) }} of={[{ value: 'letter', text: 'US Letter' }, { value: 'a4', text: 'A4' }]} />
    </div>
    {of && <p class="near soft">Goes out: {of.says}.</p>}
    <p class="near">{tick('cost', 'with what things cost')} {tick('speed', 'with what speed and days cost')} {tick('people', 'with who decided and wrote')}</p>
    <div class="buttons near"><a class="btn first" download href={file('pdf')}>PDF</a><a class="btn" download href={file('csv')}>CSV</a><a class="btn" download href={file('json')}>JSON</a></div>
    <Shown path={`/papers/${what}${asked}`} names={l.data.elements} />
  </>
}

function Shown({ path, names }: { path: string, names: api.PaperList['elements'] }) {
  const d = useData<api.PaperBundle>(path)
  if (d.error) return <Wrong text={d.error} again={d.again} />
  if (!d.data) return <p class="soft gap" role="status">One moment…</p>
  return <>{d.data.documents.map((x) => <Paper key={x.what} d={x} names={names} again={d.again} />)}</>
}

function Paper({ d, names, again }: { d: Doc, names: api.PaperList['elements'], again: () => void }) {
  return <article class="paper gap" aria-label={d.title}>
    <h2>{d.title}</h2>
    <p class="small soft">{[d.book, d.as_of, d.for && 'For: ' + d.for].filter(Boolean).join(' · ')}</p>
    {d.says.map((t) => <p key={t} class="near">{t}</p>)}
    {d.sections.map((s, i) => <section key={s.title + i} class="gap" aria-label={s.title}>
      <h3>{s.title}</h3>
      {s.says.map((t) => <p key={t} class="near">{t}</p>)}
      {s.pairs.length > 0 && <dl class="pairs near">{s.pairs.filter((p) => p.value).map((p) => <><dt>{p.label}</dt><dd>{p.value}{p.from && <span class="small soft"> {p.from}</span>}{p.was.map((w) => <div key={w} class="small soft">before: {w}</div>)}</dd></>)}</dl>}
      {s.missing.length > 0 && <div class="near"><p><b>Missing</b></p><ul>{s.missing.map((m) => <li key={m.id}>{m.label}{m.by && <span class="soft">, wanted {m.by}</span>}<div class="small soft">{m.asks.join(' ')}</div></li>)}</ul></div>}
      {s.record && !looking() && <Enter record={s.record} of={[...s.missing.map((m) => m.id), ...names.map((n) => n.id)].filter((x, k, all) => all.indexOf(x) === k)} names={names} again={again} />}
      {s.tables.map((t, k) => <div key={t.title + k} class="near">{t.title && <h4>{t.title}</h4>}
        {t.rows.length === 0 ? <p class="near soft">{t.none}</p> : <Wide label={t.title || s.title}><table><thead><tr>{t.columns.map((c) => <th key={c.id} class={c.number ? 'n' : undefined}>{c.label}</th>)}</tr></thead>
          <tbody>{t.rows.map((r, n) => <tr key={n}>{(r ?? []).map((x, c) => <td key={c} class={t.columns[c]?.number ? 'n' : undefined}>{x}</td>)}</tr>)}
            {t.foot.length > 0 && <tr>{t.foot.map((x, c) => <td key={c} class={t.columns[c]?.number ? 'n' : undefined}><b>{x}</b></td>)}</tr>}</tbody></table></Wide>}</div>)}
    </section>)}
    {d.cautions.map((t) => <p key={t} class="near small"><b>{t}</b></p>)}
    {[...d.notes, ...d.left_out].map((t) => <p key={t} class="near small soft">{t}</p>)}
  </article>
}

// Enter writes an element down; what stood there stays beside it.
function Enter({ record, of, names, again }: { record: string, of: string[], names: api.PaperList['elements'], again: () => void }) {
  const [element, setElement] = useState(of[0] ?? '')
  const [value, setValue] = useState('')
  const [who, setWho] = useState(kept('paper-who', ''))
  const [says, setSays] = useState('')
  const write = async () => {
    try {
      keep('paper-who', who)
      const r = await api.send<api.PaperWritten>('POST', '/papers/entries', { record, who, values: { [element]: value } })
      setSays(r.written > 0 ? 'Written down.' : 'It says that already.')
      setValue('')
      again()
    } catch (e) { setSays((e as Error).message) }
  }
  return <details class="near still"><summary>Write down or correct</summary>
    <form onSubmit={(e) => { e.preventDefault(); void write() }}><div class="form near">
      <label class="field"><span>What</span><select value={element} onChange={(e) => setElement(e.currentTarget.value)}>{of.map((id) => <option key={id} value={id}>{names.find((n) => n.id === id)?.label ?? id}</option>)}</select></label>
      <Text label="Value" value={value} set={setValue} hint="empty takes it back" />
      <Text label="Who writes it" value={who} set={setWho} />
    </div><div class="buttons near"><button type="submit" disabled={who.trim() === ''}>Write it down</button></div>{says && <p class="near" role="status">{says}</p>}</form></details>
}
