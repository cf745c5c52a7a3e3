// One row trial: what it says, which rows, by how much, what it is worth, and
// what would settle it.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { Dots } from '../draw/dots'
import { extent, label, show } from '../draw/scale'
import { AsTable, Choice, Pick, Text, Title, Wait } from '../parts'
import { stay, usePlace } from '../route'
import { looking, store, useData } from '../state'
import { Bar, partSays } from './bar'
import { Diffs, type Line } from './diffs'
import { Planner } from './planner'

export function RowTrial({ id }: { id: string }) {
  const d = useData<api.Trial>('/trials/' + encodeURIComponent(id))
  return <Wait of={d}>{(d) => <View d={d} id={id} />}</Wait>
}

const capital = (s: string) => s.charAt(0).toUpperCase() + s.slice(1)

function View({ d, id }: { d: api.Trial, id: string }) {
  const t = d.trial
  const { q } = usePlace()
  const chosen = q.get('measure') ?? t.lead
  const at = Math.max(0, t.figures.findIndex((f) => f.measure === chosen))
  const f = t.figures[at], axes = d.axes[at]
  return <>
    <Title page="Row trial">{t.sentence}</Title>
    <p class="tags">{[t.kind_says, t.planter].filter(Boolean).join(' · ')}</p>
    <p class="near">{t.how_says}</p>
    {!t.by_passes && t.periods.length > 0 && <section class="gap" aria-label="Which rows">
      <h2>Which rows carried it</h2>
      <p class="cap">Full: {partSays(t, 'with')}. Open: {partSays(t, 'without')}. {t.rows.some((r) => r.role === 'out') && 'Struck: does not count. '}{t.rows.some((r) => r.class === 'wheel track') && 'Treads: wheel track. '}{t.row_1 === 'right' ? 'Row 1 is at the right.' : ''}</p>
      <Bar t={t} />
      <ol class="small soft near">{t.periods.map((p) => <li key={p.says}>{p.says}</li>)}</ol>
      {t.out.map((o) => <p class="cap" key={o.why}>Row{o.rows.length > 1 ? 's' : ''} {o.rows.join(', ')}: {o.why}.</p>)}
    </section>}
    {t.figures.length > 0 && <Measures d={d} at={at} />}
    {f && axes && f.rows.length > 0 && <ByRow t={t} f={f} axes={axes} id={id} />}
    <Money d={d} />
    {t.settle.length > 0 && <section class="gap" aria-label="What would settle it">
      <h2>What would settle it</h2>
      <ul class="near">{t.settle.map((s) => <li key={s.do}>{s.do}{s.helps && <span class="soft"> Enough for a difference of the size found.</span>}</li>)}</ul>
    </section>}
    {t.notes.map((n) => <p class="cap" key={n}>{n}</p>)}
    <Planner parts={[t.label].filter(Boolean)} part={t.label} measure={t.lead} />
  </>
}

// Measures draws the differences, each against the smallest that would show.
function Measures({ d, at }: { d: api.Trial, at: number }) {
  const t = d.trial
  const lines: Line[] = []
  t.figures.forEach((f, i) => {
    if (f.smallest === null || !(f.smallest > 0)) return
    lines.push({ key: f.measure, name: f.label, says: d.axes[i]?.says ?? '', value: f.difference, low: f.low, high: f.high, smallest: f.smallest, mark: i === at })
    if (i === at) f.zones.forEach((z, k) => {
      if (z.difference !== null) lines.push({ key: f.measure + z.zone, name: '– ' + z.zone, says: d.axes[i]?.zones[k]?.says ?? '', value: z.difference, low: z.low, high: z.high, smallest: f.smallest!, sub: true })
    })
  })
  const out = t.figures.filter((f) => f.smallest === null || !(f.smallest > 0))
  return <section class="gap" aria-label="Difference by measure">
    <h2>By how much</h2>
    <p class="cap">{capital(t.label || 'with it')} less {t.against || (t.by_passes ? 'passes without it' : 'rows without it')}. Line: 90% interval. Grey: what this trial cannot see.{lines.some((l) => l.sub) && ' Below the measure shown: by ground, drawn towards the whole.'}</p>
    {lines.length > 0 && <Diffs lines={lines} label={t.sentence} />}
    {out.map((f) => <p class="cap" key={f.measure}>{f.label}: {f.says}.</p>)}
    <AsTable label="Differences" name="differences">
      <thead><tr><th>measure</th><th class="n">with</th><th class="n">without</th><th class="n">difference</th><th class="n">low</th><th class="n">high</th><th class="n">smallest it shows</th><th>verdict</th></tr></thead>
      <tbody>{t.figures.map((f, i) => {
        const a = d.axes[i]!
        const c = (x: number | null, of: api.Axis) => x === null ? '' : label(of, x)
        return <tr key={f.measure}><td>{f.label}</td><td class="n">{c(f.with, a.value)}</td><td class="n">{c(f.without, a.value)}</td><td class="n">{c(f.difference, a.difference)}</td><td class="n">{c(f.low, a.difference)}</td><td class="n">{c(f.high, a.difference)}</td><td class="n">{c(f.smallest, a.difference)}</td><td>{f.verdict}</td></tr>
      })}</tbody>
    </AsTable>
  </section>
}

// ByRow draws each row in each time over the band of the rows without.
function ByRow({ t, f, axes, id }: { t: api.Trial['trial'], f: api.TrialTold, axes: api.TrialAxes, id: string }) {
  const range = extent(f.rows.flatMap((r) => [r.value, r.low, r.high]).concat(f.bands.flatMap((b) => [b.low, b.high])).map((v) => v === null ? null : show(axes.value, v)), false)
  return <section class="gap" aria-label="Row by row">
    <h2>Row by row</h2>
    <p class="cap">Dot and line: a row and its 90% interval by its own passes. Grey: nine of ten rows without it in that time. Marked: rows with it.</p>
    <div class="pick near">
      <Choice label="Measure" value={f.measure} set={(m) => stay({ measure: m })} of={t.figures.map((x) => ({ value: x.measure, text: x.label }))} />
      <div class="buttons"><a class="btn still" href={`/api/v1/trials/${encodeURIComponent(id)}/rows.csv`} download="rows.csv">CSV</a></div>
    </div>
    <div class="times near">{t.periods.map((p, k) => {
      const rows = f.rows.filter((r) => r.period === k)
      const ordered = t.row_1 === 'right' ? [...rows].reverse() : rows
      const b = f.bands[k]
      return <figure key={k}>
        <h3>{k + 1}. {p.says.split(':')[0]}</h3>
        <Dots axis={axes.value} label={`${f.label}, ${p.says}`} lane={23} range={range}
          band={b && b.low !== null && b.high !== null ? [b.low, b.high] : null}
          dots={ordered.map((r) => ({ key: String(r.row), name: 'row ' + r.row, value: r.value, low: r.low, high: r.high, mark: r.part === 'with', faint: !r.counts, says: r.value === null ? 'no data' : label(axes.value, r.value) }))} />
      </figure>
    })}</div>
    <AsTable label="Rows" name="rows">
      <thead><tr><th>Row</th>{t.periods.map((p, k) => <th class="n" key={p.says}>{k + 1}. {f.label}</th>)}{t.periods.map((p, k) => <th key={p.says}>{k + 1}. carried</th>)}<th>counts</th></tr></thead>
      <tbody>{t.rows.map((r) => {
        const of = t.periods.map((_, k) => f.rows.find((x) => x.row === r.row && x.period === k))
        return <tr key={r.row}><td>{r.row}</td>{of.map((x, k) => <td class="n" key={k}>{x && x.value !== null ? label(axes.value, x.value) : ''}</td>)}{of.map((x, k) => <td key={k}>{x ? partSays(t, x.part) : ''}</td>)}<td>{r.role === 'out' ? 'no' : 'yes'}{r.class !== 'plain' && ', ' + r.class}</td></tr>
      })}</tbody>
    </AsTable>
  </section>
}

function Money({ d }: { d: api.Trial }) {
  const m = d.trial.money
  return <section class="gap" aria-label="What it is worth">
    <h2>What it is worth</h2>
    {m.says ? <p class="near do-it">{capital(m.says)}{m.chance !== null && <span class="soft"> · chance that it saves anything {Math.round(100 * m.chance)}%</span>}</p> : <p class="near">Nothing of it is priced.</p>}
    {m.each.length > 1 && <ul class="near">{m.each.map((e) => <li key={e.measure}>{d.trial.figures.find((f) => f.measure === e.measure)?.label}: {e.says}</li>)}</ul>}
    {m.pay_back && <p class="near">{m.pay_back.says}</p>}
    {(m.not_priced.length > 0 || m.needs.length > 0) && <ul class="near soft">{m.not_priced.map((n) => <li key={n}>{n}</li>)}{m.needs.map((n) => <li key={n.text}>Needs {n.text}. {n.topic === 'prices' && <a href="/logbook/prices">Prices and limits</a>}</li>)}</ul>}
    {m.assumed && <p class="cap">{m.assumed}</p>}
    {m.sources.length > 0 && <p class="cap">Rests on {m.sources.map((s, i) => <>{i > 0 && ', '}<a href={'/logbook/relations#' + s}>{s}</a></>)}.</p>}
    {!looking() && d.part.label && <Said d={d} />}
  </section>
}

// Said is the form for what a part costs, how long it lasts, what it is for.
function Said({ d }: { d: api.Trial }) {
  const p = d.part
  const text = (x: number | null) => x === null ? '' : String(x)
  const [price, setPrice] = useState<string>()
  const [seasons, setSeasons] = useState<string>()
  const [aim, setAim] = useState<string>()
  const [error, setError] = useState('')
  const keep = async (e: Event) => {
    e.preventDefault()
    const number = (x: string | undefined, what: string) => {
      if (x === undefined) return undefined
      const n = Number(x.trim() || '0')
      if (!Number.isFinite(n) || n < 0) throw new Error(`${what}: write a number, with a decimal point.`)
      return n
    }
    try {
      const before = { label: p.label, price_a_row: p.price_a_row ?? 0, lasts_seasons: p.lasts_seasons ?? 0, aim: p.aim }
      await api.send('PATCH', '/trials/part', { label: p.label, price_a_row: number(price, 'Price'), lasts_seasons: number(seasons, 'Seasons'), aim })
      setPrice(undefined); setSeasons(undefined); setAim(undefined); setError('')
      store.say('Kept; the trial is reckoned with it.', async () => { await api.send('PATCH', '/trials/part', before) })
    } catch (e) { setError((e as Error).message) }
  }
  const changed = price !== undefined || seasons !== undefined || aim !== undefined
  return <form class="near" onSubmit={(e) => void keep(e)}>
    <div class="form">
      <Text label="Price on one row" value={price ?? text(p.price_a_row)} set={setPrice} mode="decimal" beside={p.currency} />
      <Text label="Seasons that it lasts" value={seasons ?? text(p.lasts_seasons)} set={setSeasons} mode="decimal" />
      <Pick label="Mounted for" value={aim ?? p.aim} set={setAim} of={[{ value: '', text: 'anything that differs' }, ...d.aims.map((a) => ({ value: a.id, text: a.label }))]} />
    </div>
    {error && <p class="near" role="alert">{error}</p>}
    <div class="buttons near"><button type="submit" aria-disabled={!changed}>Keep</button></div>
  </form>
}
