// What unevenness cost in a season, parted in several ways.
import type * as api from '../api'
import { query } from '../api'
import { Choice, fieldName, Sheet, Title, Wait } from '../parts'
import { stay, usePlace } from '../route'
import { useData, useStore } from '../state'

type Line = api.CostSheet['total']

export function Cost() {
  const { q } = usePlace()
  const asked = { season: q.get('season') || undefined, field: q.get('field') || undefined, hour: q.get('by') === 'hour' ? 'true' : undefined }
  const d = useData<api.CostSheet>('/cost' + query(asked))
  return <Wait of={d}>{(s) => s.season === '' ? <Empty /> : <View s={s} by={q.get('by') ?? ''} field={asked.field ?? ''} />}</Wait>
}

function Empty() {
  return <><Title page="Cost sheet">Nothing to reckon yet.</Title><p class="near soft">It sums up what the findings of a season cost. <a href="/bring">Bring logs</a></p></>
}

function View({ s, by, field }: { s: api.CostSheet, by: string, field: string }) {
  const fields = [...new Set(useStore().book?.days.flatMap((d) => d.fields) ?? [])].sort()
  const way = s.ways.find((w) => w.by === by) ?? s.ways[0]
  const most = Math.max(...s.winter.map((l) => l.high ?? 0), ...(way?.lines ?? []).map((l) => l.high ?? 0), 0)
  return <>
    <Title page="Cost sheet">{s.title}</Title>
    {s.says.map((t, i) => <p key={t} class={i === 0 ? 'near do-it' : 'near'}>{t}</p>)}
    <div class="pick gap">
      {s.seasons.length > 1 && <Choice label="Season" value={s.season} set={(x) => stay({ season: x })} of={s.seasons.map((x) => ({ value: x.season, text: x.season }))} />}
      {fields.length > 1 && <Choice label="Field" value={field} set={(x) => stay({ field: x })} of={[{ value: '', text: 'all fields' }, ...fields.map((f) => ({ value: f, text: fieldName(f) }))]} />}
    </div>
    {s.winter.length > 0 && <section class="gap" aria-label="For the winter">
      <div class="group"><h2>For the winter</h2><span>parts to mend or to buy, by what they cost this season</span></div>
      <Lines lines={s.winter} most={most} />
    </section>}
    {way && way.lines.length > 0 && <section class="gap" aria-label={way.title}>
      <div class="group"><h2>All of it, parted</h2></div>
      <div class="pick near"><Choice label="By" value={way.by} set={(x) => stay({ by: x })} of={[...s.ways.filter((w) => w.by !== 'hour').map((w) => ({ value: w.by, text: w.title.replace('By ', '') })), { value: 'hour', text: 'hour of the day (not shown unless asked for)' }]} /></div>
      <Lines lines={way.lines} most={most} />
      <p class="cap">Line: low to high of each by itself. Dot: on average; the dots add up to {s.total.sum}.</p>
      <details class="still"><summary>As a table</summary><Table s={s} lines={way.lines} name={way.title} /></details>
    </section>}
    {s.unpriced.length > 0 && <section class="gap" aria-label="Cannot say">
      <h2>Cannot say</h2>
      {s.unpriced.map((u) => <details key={u.need}><summary>{u.findings.length === 1 ? '1 finding' : `${u.findings.length} findings`}: needs {u.need}</summary><Pieces of={u.findings} /></details>)}
    </section>}
    {s.seasons.length > 1 && <section class="gap"><h2>Seasons</h2>
      <Sheet label="Seasons" name="seasons"><thead><tr><th>season</th><th class="n">on average</th><th>low to high</th><th>per acre or hectare</th></tr></thead>
        <tbody>{s.seasons.map((x) => <tr key={x.season}><td>{x.season}</td><td class="n">{x.sum}</td><td>{x.range}</td><td>{x.per}</td></tr>)}</tbody></Sheet>
    </section>}
    <section class="gap soft small" aria-label="How to read it">{s.notes.map((n) => <p key={n} class="near">{n}</p>)}</section>
    <div class="buttons gap"><button onClick={() => print()}>Print</button></div>
  </>
}

function Lines({ lines, most }: { lines: Line[], most: number }) {
  return <div class="costs">{lines.map((l) => <details key={l.name}>
    <summary><span class="name">{l.name}</span><Spread l={l} most={most} /><span class="sum">{l.sum}<small>{l.range}</small></span></summary>
    <div class="behind">
      {l.do && <p><strong>{l.do}.</strong></p>}
      {l.rows.length > 0 && <p class="near soft">{l.rows.map((r) => `${r.what}: ${r.says}`).join('; ')}</p>}
      <Pieces of={l.findings} />
      {l.cites.length > 0 && <p class="near small soft">Rests on {l.cites.map((c, i) => <>{i > 0 && ', '}<a href={'/logbook/relations#' + c.id}>{c.title.toLowerCase()}</a></>)}.</p>}
    </div>
  </details>)}</div>
}

function Pieces({ of }: { of: api.CostSheet['unpriced'][number]['findings'] }) {
  return <ul class="near">{of.map((f) => <li key={f.finding}>{f.sum && <b class="when">{f.sum}</b>} <a href={'/finding/' + f.finding}>{f.says}</a></li>)}</ul>
}

// Spread draws a range with its mean, all lines on one scale.
function Spread({ l, most }: { l: Line, most: number }) {
  const x = (n: number | null) => `${(100 * (n ?? 0)) / (most || 1)}%`
  return <svg class="spread" height="20" aria-hidden="true">
    <line x1="0" x2="100%" y1="10" y2="10" stroke="var(--line)" />
    <line x1={x(l.low)} x2={x(l.high)} y1="10" y2="10" stroke="var(--ink)" stroke-width="2" />
    <circle cx={x(l.mean)} cy="10" r="5" fill="var(--accent)" />
  </svg>
}

function Table({ s, lines, name }: { s: api.CostSheet, lines: Line[], name: string }) {
  const n = (x: number | null) => x === null ? '' : x.toFixed(s.unit === 'bu' ? 1 : 0)
  return <Sheet label={name} name={name}>
    <thead><tr><th>{name.replace('By ', '')}</th><th class="n">on average, {s.unit}</th><th class="n">low</th><th class="n">high</th><th class="n">at the total’s low</th><th class="n">at its high</th></tr></thead>
    <tbody>{[...lines, s.total].map((l) => <tr key={l.name}><td>{l.name}</td><td class="n">{l.sum.replace(/[^\d.]/g, '')}</td><td class="n">{n(l.low)}</td><td class="n">{n(l.high)}</td><td class="n">{n(l.at_total_low)}</td><td class="n">{n(l.at_total_high)}</td></tr>)}</tbody>
  </Sheet>
}
