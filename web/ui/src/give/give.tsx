// What the logbook holds, as tables to take along.
import { useState } from 'preact/hooks'
import type * as api from '../api'
import { query } from '../api'
import { Pick, Sheet, Text, Title, Wait } from '../parts'
import { useData } from '../state'

const ways = [{ value: 'csv', text: 'CSV, for a spreadsheet' }, { value: 'geojson', text: 'GeoJSON, for a map' }, { value: 'shapefile', text: 'Shapefile' }, { value: 'parquet', text: 'Parquet, for much data' }]

export function Give() {
  const d = useData<api.GiveList>('/give')
  return <Wait of={d}>{(g) => g.last === '' ? <><Title page="Give">Nothing to hand out yet.</Title><p class="near soft">What the boxes logged can be taken along as tables once it was read. <a href="/bring">Bring logs</a></p></> : <View g={g} />}</Wait>
}

function View({ g }: { g: api.GiveList }) {
  const [as, setAs] = useState('csv')
  const [field, setField] = useState('')
  const [from, setFrom] = useState('')
  const [to, setTo] = useState('')
  const day = (s: string) => s === '' || /^\d{4}-\d\d-\d\d$/.test(s)
  const good = day(from) && day(to)
  const link = (what: string) => `/api/v1/give/${what}` + query({ as: what === 'field' ? undefined : as, field: field || undefined, from: from || undefined, to: to || undefined })
  return <>
    <Title page="Give">What the logbook holds, to take along.</Title>
    <p class="near soft">Tables for other programs, each in a zip with what its columns mean. Places in WGS 84, SI units, times in UTC. Nothing is left out and nothing leaves this computer by itself: who gets a file gets all that is in it, speeds and times of the day too.</p>
    <div class="form gap">
      <Pick label="Written as" value={as} of={ways} set={setAs} />
      {g.fields.length > 0 && <Pick label="Field" value={field} of={[{ value: '', text: 'all fields' }, ...g.fields.map((f) => ({ value: f, text: f }))]} set={setField} />}
      <Text label="From" hint={day(from) ? `a day such as ${g.first}; empty: the first` : 'Write it as 2026-05-02.'} value={from} set={setFrom} />
      <Text label="To" hint={day(to) ? 'empty: the last' : 'Write it as 2026-05-02.'} value={to} set={setTo} />
    </div>
    <ul class="gives gap">{g.tables.map((t) => <li key={t.table}>
      <div><strong>{t.table.charAt(0).toUpperCase() + t.table.slice(1)}</strong><p class="soft">{t.title}.</p></div>
      <a class="btn" download="" href={good ? link(t.table) : undefined} aria-disabled={!good} aria-label={`Take along: ${t.table}`}>Take along</a>
      <details class="still"><summary>Its columns</summary><Sheet label={`Columns of ${t.table}`} name={t.table + '-columns'}><thead><tr><th>column</th><th>what it means</th></tr></thead>
        <tbody>{t.columns.map((c) => <tr key={c.name}><td>{c.name}</td><td>{c.says}</td></tr>)}</tbody></Sheet></details>
    </li>)}
      <li><div><strong>A whole field</strong><p class="soft">{field ? `All tables of ${field} in one zip: boundary and passes as GeoJSON, stretches and findings as CSV, seeds and readings as Parquet.` : 'Choose a field above, then all of its tables go into one zip.'}</p></div>
        {field && <a class="btn" download="" href={good ? link('field') : undefined} aria-label={`Take along: all of ${field}`}>Take along</a>}</li>
    </ul>
  </>
}
