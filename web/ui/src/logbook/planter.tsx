// The planter drawn to scale from above, driving up the page, with what is
// known of each row.
import { useEffect, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { useWidth } from '../draw/size'
import { Pick, Text, Wide } from '../parts'
import { looking, store } from '../state'

export function Planter({ c }: { c: api.Card }) {
  return <section class="gap">
    <h2>{c.planter}</h2>
    <p>{c.says}</p>
    {c.rows.length > 0 && <div class="near"><FromAbove c={c} /></div>}
    {c.rows.length > 0 && <details><summary>As a table</summary><Wide label="Rows of the planter"><table><thead><tr><th>row</th><th>side</th><th>section</th><th>cells</th><th>crop</th><th>parts</th></tr></thead><tbody>
      {c.rows.map((r) => <tr key={r.row}><td>{r.row}{r.wheel_track ? ', wheel track' : ''}</td><td>{r.side}</td><td>{r.section || ''}</td><td>{r.cells || ''}</td><td>{r.crop}</td><td>{r.parts.join(', ')}</td></tr>)}</tbody></table></Wide></details>}
    {(c.tanks.length > 0 || !looking()) && <><h3 class="gap">Tanks and hoppers</h3>
      {c.tanks.length > 0 && <ul class="plain near">{c.tanks.map((t) => <li key={t.number}>{t.says}{!looking() && <Tank c={c} t={t} />}</li>)}</ul>}
      {!looking() && <Tank key={c.tanks.length} c={c} t={null} />}</>}
    {c.parts.length > 0 && <><h3 class="gap">Mounted</h3><Wide label="Mounted parts" near><table><thead><tr><th>part</th><th>rows</th><th>since</th></tr></thead><tbody>
      {c.parts.map((p) => <tr key={p.label + p.rows}><td>{p.label}</td><td>{p.rows}</td><td>{p.since || 'always'}</td></tr>)}</tbody></table></Wide></>}
    {c.unknown.length > 0 && <><h3 class="gap">Not known</h3><ul class="near">{c.unknown.map((u) => <li key={u}>{u}</li>)}</ul></>}
    {!looking() && <Change c={c} />}
  </section>
}

// Tank says what a tank holds, and puts one on the card that it does not have.
function Tank({ c, t }: { c: api.Card, t: api.Card['tanks'][number] | null }) {
  const metric = store.book?.units === 'metric', size = metric ? 0.001 : 0.003785411784 // L, US gallon: 231 in3 (NIST Handbook 44, appendix C)
  const was = { name: t?.name ?? '', product: t?.product ?? '', holds: t?.capacity_m3 ? String(Math.round(t.capacity_m3 / size * 10) / 10) : '' }
  const [name, setName] = useState(was.name)
  const [product, setProduct] = useState(was.product)
  const [holds, setHolds] = useState(was.holds)
  const [error, setError] = useState('')
  const save = async (e: Event) => {
    e.preventDefault()
    const x = Number(holds.trim().replace(',', '.'))
    if (holds.trim() !== was.holds && !(x > 0)) { setError('Write how much goes in, such as 250; what is known cannot be made unknown here.'); return }
    const number = t?.number ?? Math.max(0, ...c.tanks.map((o) => o.number)) + 1
    try {
      await api.send('PATCH', '/cards', { planter: c.planter, tank: { number, name, product, ...(holds.trim() !== was.holds && { capacity_m3: x * size }) } })
      setError('')
      store.say('Kept on the planter card.')
    } catch (e) { setError((e as Error).message) }
  }
  const what = t ? t.name || `tank ${t.number}` : ''
  return <details class="still"><summary aria-label={t ? `${t.product ? 'Change' : 'Say'} what ${what} holds` : undefined}>{t ? t.product ? 'Change what it holds' : 'Say what it holds' : 'Add a tank or hopper'}</summary>
    <form onSubmit={(e) => void save(e)}>
      <div class="form near">
        <Text label="What it holds" value={product} set={setProduct} hint="as 10-34-0, or the insecticide" />
        <Text label="Name" value={name} set={setName} hint="as starter, or front tank" />
        <Text label="Full, it holds" value={holds} set={setHolds} mode="decimal" beside={metric ? 'L' : 'gal'} />
      </div>
      {error && <p class="near" role="alert">{error}</p>}
      <div class="buttons near"><button class="first" type="submit" disabled={name === was.name && product === was.product && holds === was.holds}>Keep the tank</button></div>
    </form>
  </details>
}

// Side says where row 1 runs.
export const Side = ({ value, set }: { value: string, set: (v: 'left' | 'right') => void }) =>
  <Pick label="Row 1, as you look ahead" value={value} set={(v) => set(v as 'left' | 'right')} of={[{ value: 'left', text: 'on the left' }, { value: 'right', text: 'on the right' }]} />

const lengths = [
  ['antenna_to_hitch_m', 'Receiver to hitch', 'backwards from the receiver to the hitch pin'],
  ['hitch_to_row_line_m', 'Hitch to seed line', 'from the pin to where the seed falls; trailed only'],
  ['antenna_right_m', 'Receiver right of the middle', 'left of it: below 0'],
] as const

// one is what all say, empty where they differ.
const one = (all: string[]): string => new Set(all).size === 1 ? all[0]! : ''

// Change says what the logs and nobody have said yet.
function Change({ c }: { c: api.Card }) {
  const metric = store.book?.units === 'metric'
  const [inch, foot] = metric ? [0.01, 1] : [0.0254, 0.3048]
  const write = (m: number | null, unit: number) => m === null ? '' : String(Math.round(m / unit * 100) / 100)
  const was: Record<string, string> = { rows: c.count ? String(c.count) : '', row_spacing_m: write(c.row_spacing_m, inch), cells: c.cells ? String(c.cells) : '', row_1: c.row_1, hitch: c.hitch, crop: one(c.rows.map((r) => r.crop)), ...Object.fromEntries(lengths.map(([k]) => [k, write(c[k], foot)])) }
  const [now, set] = useState<Record<string, string>>({})
  const [error, setError] = useState('')
  const put = (k: string) => (v: string) => set({ ...now, [k]: v })
  const value = (k: string) => now[k] ?? was[k]!
  const save = async (e: Event) => {
    e.preventDefault()
    const body: Record<string, unknown> = { planter: c.planter }
    for (const [k, v] of Object.entries(now)) {
      if (v.trim() === was[k]) continue
      if (k === 'row_1' || k === 'hitch' || k === 'crop') { body[k] = v; continue }
      const x = Number(v.trim().replace(',', '.'))
      if (!v.trim() || !Number.isFinite(x)) { setError('Write numbers, such as 12.5; what is known cannot be made unknown here.'); return }
      body[k] = k === 'rows' || k === 'cells' ? Math.round(x) : x * (k === 'row_spacing_m' ? inch : foot)
    }
    try {
      await api.send('PATCH', '/cards', body)
      setError('')
      set({})
      store.say('Kept on the planter card. The days are made again.')
    } catch (e) { setError((e as Error).message) }
  }
  const ref = useRef<HTMLDetailsElement>(null)
  useEffect(() => { if (location.hash === '#change') { ref.current!.open = true; ref.current!.scrollIntoView() } }, [])
  return <details ref={ref}><summary>Change the card</summary>
    <form onSubmit={(e) => void save(e)}>
      <div class="form near">
        <Text label="Rows" value={value('rows')} set={put('rows')} mode="numeric" />
        <Text label="Apart" value={value('row_spacing_m')} set={put('row_spacing_m')} mode="decimal" beside={metric ? 'cm' : 'in'} />
        <Side value={value('row_1')} set={put('row_1')} />
        <Pick label="Hitch" value={value('hitch')} set={put('hitch')} of={[...(was.hitch ? [] : [{ value: '', text: 'not known' }]), { value: 'trailed', text: 'trailed' }, { value: 'mounted', text: 'mounted' }]} />
        {lengths.map(([k, label, hint]) => <Text key={k} label={label} value={value(k)} set={put(k)} mode="decimal" beside={metric ? 'm' : 'ft'} hint={hint} />)}
        <Text label="Cells of a disc" value={value('cells')} set={put('cells')} mode="numeric" hint={c.cells ? undefined : 'where all rows have the same'} />
        <Text label="Crop of the rows" value={value('crop')} set={put('crop')} hint="as corn; of all rows" />
      </div>
      {error && <p class="near" role="alert">{error}</p>}
      <div class="buttons near"><button class="first" type="submit" disabled={Object.keys(now).length === 0}>Keep the card</button></div>
    </form>
  </details>
}

function FromAbove({ c }: { c: api.Card }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = Math.min(980, useWidth(ref))
  const spacing = c.row_spacing_m ?? 0.762
  const ys = c.rows.map((r) => r.y_m ?? (r.row - (c.rows.length + 1) / 2) * spacing)
  const half = Math.max(...ys.map(Math.abs)) + spacing
  const behind = c.hitch === 'trailed' ? c.hitch_to_row_line_m : 0
  const ahead = c.antenna_to_hitch_m
  const long = (behind ?? 5) + (ahead ?? 3)
  const k = Math.min((w - 30) / (2 * half), 380 / Math.max(4, long))
  const x = (m: number) => w / 2 + m * k
  const top = 34
  const line = top + long * k // y of the seed line
  const hitch = line - (behind ?? 5) * k
  const sides = [...new Set(c.rows.map((r) => r.side).filter(Boolean))]
  const h = line + 62
  const every = Math.ceil(26 / (spacing * k))
  return <figure>
    <div ref={ref}>
      <svg width={w} height={h} role="img" aria-label={`${c.says} Drawn to scale from above, driving up.`}>
        <text x={w / 2} y={14} text-anchor="middle">driving this way ↑</text>
        <line x1={x(0)} x2={x(0)} y1={hitch} y2={line} stroke="var(--edge)" stroke-width={2} stroke-dasharray={behind === null ? '4 4' : undefined} />
        <rect x={x(-1.25)} y={Math.max(top - 4, hitch - 3.4 * k)} width={2.5 * k} height={Math.min(3 * k, hitch - top + 4)} fill="none" stroke="var(--edge)" rx={3} />
        {ahead !== null && <g><circle cx={x(c.antenna_right_m ?? 0)} cy={hitch - ahead * k} r={5} fill="var(--accent)" /><text x={x(c.antenna_right_m ?? 0) + 10} y={hitch - ahead * k + 5}>receiver</text></g>}
        <line x1={x(ys[0]!)} x2={x(ys.at(-1)!)} y1={line} y2={line} stroke="var(--ink)" stroke-width={2.5} />
        {c.rows.map((r, i) => <g key={r.row}>
          <title>{[`row ${r.row}`, r.side, r.section && `section ${r.section}`, r.wheel_track && 'wheel track', r.cells && `${r.cells} cells`, r.crop, ...r.parts].filter(Boolean).join(', ')}</title>
          {r.wheel_track && <rect x={x(ys[i]!) - 0.3 * k} y={line - 1.1 * k} width={0.6 * k} height={1.1 * k} fill="var(--band)" />}
          <line x1={x(ys[i]!)} x2={x(ys[i]!)} y1={line - 7} y2={line + 9} stroke={r.parts.length ? 'var(--accent)' : 'var(--ink)'} stroke-width={r.parts.length ? 5 : 3} />
          {(i % every === 0 || i === c.rows.length - 1) && <text x={x(ys[i]!)} y={line + 26} text-anchor="middle">{r.row}</text>}
        </g>)}
        {sides.map((s) => {
          const at = c.rows.map((r, i) => r.side === s ? ys[i]! : NaN).filter((y) => !Number.isNaN(y))
          const a = x(Math.min(...at)), b = x(Math.max(...at))
          return <g key={s}><path d={`M${a} ${line + 36}v5H${b}v-5`} fill="none" stroke="var(--edge)" /><text x={(a + b) / 2} y={line + 56} text-anchor="middle">{s}</text></g>
        })}
      </svg>
    </div>
    <figcaption class="cap">To scale. Thick marks: rows with parts mounted. Grey: rows in a wheel track.{behind === null || ahead === null ? ' Dashed: a length that nobody has said.' : ''}</figcaption>
  </figure>
}
