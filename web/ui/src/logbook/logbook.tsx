import { useEffect, useState } from 'preact/hooks'
import type * as api from '../api'
import { Box } from '../bring/bring'
import { BoxLine } from '../bring/boxline'
import { Text, Title, Wait, Wide } from '../parts'
import { go, usePlace } from '../route'
import { looking, settleNow, useData, useStore, working } from '../state'
import { digits } from '../draw/scale'
import { Clock } from './clock'
import { Planter } from './planter'
import { Prices } from './prices'
import { Recipes } from './recipes'

const tabs = [['', 'Boxes'], ['planter', 'Planter'], ['prices', 'Prices, limits, units'], ['recipes', 'Recipes'], ['relations', 'Relations']] as const

export function Logbook({ tab }: { tab: string }) {
  const s = useStore()
  return <>
    <Title page="Logbook">{s.book ? 'Logbook: ' + s.book.name : 'Logbook'}</Title>
    {s.book?.stale && !s.jobs.some(working) && <div class="notice near"><p>Something was changed since the last reading.</p>
      {!looking() && <div class="buttons near"><button class="first" onClick={settleNow}>Take it up now</button></div>}</div>}
    <nav class="tabs" aria-label="Parts of the logbook">{tabs.map(([id, name]) => <a key={id} href={'/logbook' + (id && '/' + id)} aria-current={tab === id ? 'page' : undefined}>{name}</a>)}</nav>
    <select class="part" aria-label="Part of the logbook" value={tab} onChange={(e) => { const id = e.currentTarget.value; go('/logbook' + (id && '/' + id)) }}>{tabs.map(([id, name]) => <option key={id} value={id}>{name}</option>)}</select>
    {tab === '' && <Boxes />}
    {tab === 'planter' && <Planters />}
    {tab === 'prices' && <Prices />}
    {tab === 'recipes' && <Recipes />}
    {tab === 'relations' && <RelationsView />}
  </>
}

function Boxes() {
  const d = useData<api.Sources>('/sources')
  return <Wait of={d}>{(d) => d.sources.length === 0
    ? <p>No logs have been read yet.{!looking() && <> <a href="/bring">Bring some</a>.</>}</p>
    : <><p class="soft">Every box whose log was read, and the one thing to switch on at it. Each has its own clock.</p>
      {d.sources.map((s) => <BoxLine key={s.format + s.name} s={s} />)}
      <details class="near"><summary>What the grades allow</summary>
        <ul class="near">{d.grades.map((g) => <li key={g.grade}><b>{g.grade}, {g.means}</b>: {g.allows}.</li>)}</ul></details>
      <h2 class="gap">Each box in full</h2>
      {d.sources.map((s) => <Box key={s.format + s.name} s={s} more>{!looking() && <Clock s={s} />}</Box>)}
      <Imports /></>}</Wait>
}

// Imports lists what was brought in.
function Imports() {
  const d = useData<{ imports: { id: number, when: string, name: string, kind: string, files: number, bytes: number, replaced: boolean }[] }>('/imports')
  const size = (n: number) => n < 1e6 ? `${Math.max(1, Math.round(n / 1e3))} kB` : `${(n / 1e6).toFixed(n < 1e7 ? 1 : 0)} MB`
  return <section class="gap"><h2>What was brought</h2>
    <p class="soft">Every file is kept as it came.</p>
    <Wait of={d}>{(d) => <Wide label="What was brought" near><table><thead><tr><th>when</th><th>what</th><th class="n">files</th><th class="n">size</th></tr></thead>
      <tbody>{d.imports.map((x) => <tr key={x.id}><td class="nowrap">{x.when}</td><td>{x.name}{x.replaced && <span class="soft"> (a later one holds all of it)</span>}</td><td class="n">{x.files}</td><td class="n">{size(x.bytes)}</td></tr>)}</tbody></table></Wide>}</Wait>
  </section>
}

function Planters() {
  const d = useData<{ cards: api.Card[] }>('/cards')
  return <Wait of={d}>{(d) => d.cards.length === 0 ? <p>No planter is known yet. It is learnt from the first log.</p> : <>{d.cards.map((c) => <Planter key={c.planter} c={c} />)}</>}</Wait>
}

function RelationsView() {
  const d = useData<api.Relations>('/relations')
  const [find, setFind] = useState('')
  const asked = usePlace().hash
  useEffect(() => {
    const at = d.data && asked ? document.getElementById(asked) : null
    at?.querySelector('h2')?.focus({ preventScroll: true })
    at?.scrollIntoView()
  }, [d.data !== null, asked])
  return <Wait of={d}>{(d) => {
    const f = find.toLowerCase()
    const shown = d.relations.map((r) => ({ ...r, lines: r.lines.filter((l) => !f || (r.id + r.title + r.says + l.name + l.source + l.form).toLowerCase().includes(f)) })).filter((r) => r.lines.length)
    return <>
      <p class="soft">What links what went wrong to yield and time, as it was published. Where a finding costs money, it names the relation that it rests on.</p>
      <div class="near"><Text label="Look for" value={find} set={setFind} /></div>
      {shown.map((r) => <section class="gap" key={r.id} id={r.id}><h2 tabIndex={-1}>{r.title}</h2>
        <p>{r.says}</p>
        <details open={r.id === asked || f !== ''}><summary>Figures and sources of {r.id}</summary>
          <Wide label={r.title}><table class="small">
            <thead><tr><th>figure</th><th class="n">low</th><th class="n">likely</th><th class="n">high</th><th>unit</th><th>holds for</th><th>source</th></tr></thead>
            <tbody>{r.lines.map((l, i) => <tr key={i}>
              <td>{l.name}</td>{[l.low, l.likely, l.high].map((x, k) => <td class="n" key={k}>{x === null ? '' : digits(x)}</td>)}<td>{l.unit}</td><td>{l.domain}</td><td>{l.source}<br /><span class="soft">{l.status}</span></td>
            </tr>)}</tbody>
          </table></Wide></details></section>)}
      {shown.length === 0 && <p class="gap">Nothing fits.</p>}
    </>
  }}</Wait>
}
