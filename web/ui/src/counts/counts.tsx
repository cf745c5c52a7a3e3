// What plants counted on foot say: of fields, of findings, of the farm; and every count.
import * as api from '../api'
import { query } from '../api'
import { Choice, fieldName, Sheet, Title, Wrong } from '../parts'
import { stay, usePlace } from '../route'
import { looking, useData, useStore } from '../state'
import { useState } from 'preact/hooks'

export function Counts() {
  const { q } = usePlace()
  const { book } = useStore()
  const d = useData<api.CountSheet>('/counts' + query({ field: q.get('field') || undefined, season: q.get('season') || undefined }))
  if (d.error) return <><Title page="Counts">Counts</Title><Wrong text={d.error} again={d.again} /></>
  const s = d.data
  if (!s) return <p class="soft" role="status">One moment…</p>
  const fields = [...new Set(book?.days.flatMap((x) => x.fields) ?? [])].filter((f) => f !== '').sort()
  return <>
    <Title page="Counts">{s.title}</Title>
    {s.counts.length === 0 && <p class="near">{s.notes[0]} <a href="/walk">Walk list</a></p>}
    {fields.length > 1 && <div class="pick gap"><Choice label="Field" value={q.get('field') ?? ''} set={(x) => stay({ field: x || undefined })} of={[{ value: '', text: 'all' }, ...fields.map((f) => ({ value: f, text: fieldName(f) }))]} /></div>}
    {s.fields.map((f) => <Field key={f.field} f={f} metric={book?.units === 'metric'} />)}
    {s.says.length > 0 && <section class="gap" aria-label="The farm"><h2>The farm</h2>{s.says.map((t) => <p key={t} class="near">{t}</p>)}</section>}
    {!looking() && <Bring again={d.again} />}
    {s.counts.length > 0 && <>
      <h2>Every count</h2>
      <ul class="walk plain near">{s.counts.map((c) => <li key={c.id} class={c.corrected ? 'soft' : undefined}>
        <div class="s">{c.says}{c.corrected && ' Corrected later.'}</div>
        {!c.corrected && (c.logged || c.unused) && <div>{c.logged} {c.unused}</div>}
        {c.note && <div>{c.note}</div>}
        <div class="soft">{[c.field, c.place, c.when, c.who].filter(Boolean).join('; ')}</div>
      </li>)}</ul>
      <details class="gap still"><summary>As a table</summary>
        <Sheet label="Counts" name="counts"><thead><tr><th>counted</th><th>field</th><th>place</th><th>what</th><th>logged there</th><th>note</th><th>who</th></tr></thead>
          <tbody>{s.counts.map((c) => <tr key={c.id}><td>{c.when}</td><td>{c.field}</td><td>{c.place}</td><td>{c.says}</td><td>{c.corrected ? 'Corrected later.' : [c.logged, c.unused].filter(Boolean).join(' ')}</td><td>{c.note}</td><td>{c.who}</td></tr>)}</tbody></Sheet></details>
      {s.notes.map((n) => <p key={n} class="near small soft">{n}</p>)}
      <p class="near small">{s.cites.map((c, i) => <>{i > 0 && ', '}<a href={'/logbook/relations#' + c.id}>{c.title}</a></>)}</p>
    </>}
  </>
}

function Field({ f, metric }: { f: api.CountSheet['fields'][number], metric: boolean }) {
  return <section class="gap" aria-label={f.field}>
    <h2>{f.field}</h2>
    {f.says.map((t) => <p key={t} class="near">{t}</p>)}
    <Stands f={f} metric={metric} />
    {f.findings.map((x) => <div class="near" key={x.finding}><p><a href={'/finding/' + x.finding}>{x.sentence}</a></p><p class={x.told ? 'near' : 'near soft'}>{x.says}</p></div>)}
    {f.zones.length > 0 && <div class="buttons near"><a class="btn" href={'/replant' + query({ field: f.field })}>Keep, fill in or start over</a><a class="btn" href={'/walk' + query({ field: f.field })}>Walk list</a></div>}
  </section>
}

// Stands draws each zone's stand with its range, on one scale that begins at none.
function Stands({ f, metric }: { f: api.CountSheet['fields'][number], metric: boolean }) {
  const per = metric ? 10_000 : 4046.8564224
  const n = (x: number | null): number => (x ?? NaN) * per
  const zones = f.zones.filter((z) => z.stand_per_m2.mid !== null)
  if (zones.length === 0) return null
  const top = 5000 * Math.ceil(Math.max(...zones.map((z) => n(z.stand_per_m2.high))) * 1.05 / 5000)
  const at = (x: number | null) => 100 * n(x) / top
  return <div class="stands near" role="img" aria-label={zones.map((z) => z.says).join(' ')}>
    {zones.map((z) => <div class="stand" key={z.name}>
      <p>{z.says}</p>
      <div class="scale"><i class="range" style={{ left: at(z.stand_per_m2.low) + '%', width: at(z.stand_per_m2.high) - at(z.stand_per_m2.low) + '%' }} /><i class="mid" style={{ left: at(z.stand_per_m2.mid) + '%' }} /></div>
    </div>)}
    <div class="ends small soft"><span>0</span><span>{top.toLocaleString('en-US')} plants {metric ? 'a hectare' : 'an acre'}</span></div>
  </div>
}

// Bring takes a file that a phone saved.
function Bring({ again }: { again: () => void }) {
  const [says, setSays] = useState('')
  const [refused, setRefused] = useState<{ id: string, why: string }[]>([])
  const take = async (files: FileList | null) => {
    let kept = 0, known = 0
    const not: { id: string, why: string }[] = []
    try {
      for (const file of files ?? []) {
        let counts: unknown
        try { counts = (JSON.parse(await file.text()) as { counts?: unknown }).counts } catch { throw new Error(`${file.name} is no file of counts: it is not JSON. Take the one that the walk list on the phone saved.`) }
        if (!Array.isArray(counts)) throw new Error(`${file.name} is no file of counts: it has no list “counts”. Take the one that the walk list on the phone saved.`)
        for (let i = 0; i < counts.length; i += 500) {
          const r = await api.send<api.CountsReply>('POST', '/counts', { counts: counts.slice(i, i + 500) })
          kept += r.stored.length
          known += r.known.length
          not.push(...r.refused)
        }
      }
      setSays(`${kept} kept, ${known} known before, ${not.length} refused.`)
    } catch (e) { setSays((e as Error).message) }
    setRefused(not)
    again()
  }
  return <section class="gap" aria-label="A file from the phone"><h2>A file from the phone</h2>
    <label class="field"><span>Counts that a phone saved as a file</span><input type="file" accept=".json,application/json" multiple onChange={(e) => { const t = e.currentTarget; void take(t.files).then(() => { t.value = '' }) }} /></label>
    {says && <p class="near" role="status">{says}</p>}
    {refused.length > 0 && <ul class="near">{refused.map((r) => <li key={r.id}>{r.id}: {r.why}</li>)}</ul>}
  </section>
}
