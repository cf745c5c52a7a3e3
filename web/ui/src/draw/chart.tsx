// The evidence of a finding, drawn by what its chart counts along.
import type * as api from '../api'
import { Dots } from './dots'
import { Stems } from './stems'
import { AsTable } from '../parts'

const capital = (s: string) => s.charAt(0).toUpperCase() + s.slice(1)

export function ChartView({ c, d }: { c: api.Chart, d: NonNullable<api.Spoken['drawn']> }) {
  const mark = c.mark ?? []
  const band: [number, number] | null = c.band && c.band.low !== null && c.band.high !== null ? [c.band.low, c.band.high] : null
  const says = (i: number) => d.values[i] ?? ''
  const name = (i: number) => d.at[i] ?? ''
  return <figure>
    <h2>{capital(c.title)}</h2>
    {c.x === 'row'
      ? <Dots axis={d.axis} band={band} label={c.title} dots={c.value.map((v, i) => ({ key: String(i), name: name(i), value: v, low: c.low?.[i], high: c.high?.[i], mark: mark.includes(i), says: says(i) }))} />
      : <Stems axis={d.axis} band={band} label={c.title} x={c.x} stems={c.value.map((v, i) => ({ at: c.at[i] ?? i, name: name(i), value: v, mark: mark.includes(i), says: says(i) }))} />}
    <figcaption class="cap">{d.band && <>Grey: the others, {d.band}.</>}</figcaption>
    <AsTable label={c.title} name={c.title}><thead><tr><th>{c.x}</th><th class="n">{c.y}</th></tr></thead>
      <tbody>{c.value.map((_, i) => <tr key={i}><td>{name(i)}{mark.includes(i) ? ' (this one)' : ''}</td><td class="n">{says(i)}</td></tr>)}</tbody></AsTable>
  </figure>
}
