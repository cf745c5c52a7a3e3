// Balance: what to try next, what each setting does to what one wants, and why.
import { useEffect, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { digits, label, show } from '../draw/scale'
import { Panels } from '../draw/panels'
import { AsTable, Choice, Title, Wait } from '../parts'
import { stay, usePlace } from '../route'
import { looking, store, useData } from '../state'

export function Balance() {
  const d = useData<api.Balance>('/balance')
  const { q } = usePlace()
  return <Wait of={d}>{(b) => {
    const l = b.levers.find((x) => x.name === q.get('setting')) ?? b.levers[0]
    if (!l) {
      return <><Title page="Balance">No setting to weigh yet.</Title>
        <p class="near soft">Write down in the journal what you set, or bring logs that tell it. Then say how far you may go with it.</p>
        <div class="buttons gap"><a class="btn" href="/journal">Journal</a><a class="btn" href="/bring">Bring logs</a></div></>
    }
    return <One key={l.name} l={l} all={b.levers} />
  }}</Wait>
}

const cannot = (l: api.Lever): boolean => l.verdict === 'cannot-say'

// heading is what the screen says first.
const heading = (l: api.Lever): string => cannot(l) ? (l.needs[0] ?? l.sentence) : l.sentence

function One({ l, all }: { l: api.Lever, all: api.Lever[] }) {
  const [open, setOpen] = useState<'' | 'limits' | 'why'>(cannot(l) && !looking() ? 'limits' : '')
  const pressed = useRef(false)
  const toggle = (x: 'limits' | 'why') => { pressed.current = true; setOpen(open === x ? '' : x) }
  const needs = cannot(l) ? l.needs.slice(1) : l.needs
  return <>
    <Title page="Balance">{heading(l)}</Title>
    {all.length > 1 && <div class="pick near"><Choice label="Setting" value={l.name} set={(v) => stay({ setting: v })} of={all.map((x) => ({ value: x.name, text: x.label + mark(x) }))} /></div>}
    {l.trying && <p class="near"><strong>{l.trying}</strong></p>}
    {l.panels.length > 0 && <figure class="gap">
      <Panels l={l} />
      <figcaption class="cap">{l.panels.some((p) => p.least !== null || p.most !== null) && 'Dashed: your limit. '}{l.past.length > 0 && 'Dotted box: past your limit, or too likely so. '}</figcaption>
    </figure>}
    {!cannot(l) && <p class="near">{l.rests}{' '}{l.expect}</p>}
    {needs.map((n) => <p class="near" key={n}>{n}</p>)}
    {l.assumed.map((n) => <p class="near soft" key={n}>{n}</p>)}
    <div class="buttons gap">
      {l.note && !looking() && <Trying l={l} />}
      {!looking() && <button aria-expanded={open === 'limits'} onClick={() => toggle('limits')}>Change my limits</button>}
      {l.why.length > 0 && <button aria-expanded={open === 'why'} onClick={() => toggle('why')}>Why this one</button>}
    </div>
    {l.do && <p class="near soft">{l.do}</p>}
    {open === 'why' && <section class="gap" aria-label="Why this one"><ul>{l.why.map((w) => <li key={w}>{w}</li>)}</ul></section>}
    {open === 'limits' && !looking() && <Limits l={l} focus={pressed.current} done={() => setOpen('')} />}
    {l.panels.length > 0 && <Table l={l} />}
  </>
}

// mark says in the list which settings have something to try.
const mark = (l: api.Lever): string => ({ try: ', to try', trying: ', being tried', keep: ', set all', undo: ', set back', back: ', past a limit', 'not-told': ', not told', 'cannot-say': '' } as Record<string, string>)[l.verdict] ?? ', leave it'

// Trying writes down that the setting was made, with a way back.
function Trying({ l }: { l: api.Lever }) {
  const [busy, setBusy] = useState(false)
  const [error, setError] = useState('')
  const write = async () => {
    setBusy(true)
    setError('')
    try {
      const n = await api.send<api.Note>('POST', '/journal', { text: l.note, rows: l.rows.join(','), what: 'setting' })
      store.say(`${n.clock}: ${n.lines.map((x) => x.says).join('; ')}`, async () => { await api.send('DELETE', '/journal/' + n.id) }, { to: '/journal', name: 'Journal' })
    } catch (e) {
      setError((e as Error).message)
    }
    setBusy(false)
  }
  return <>
    <button class="first" aria-disabled={busy} onClick={() => { if (!busy) void write() }}>{l.verdict === 'try' ? 'Trying it now' : 'I have set it'}</button>
    {error && <p role="alert">{error}</p>}
  </>
}

// Limits are those that count here: how far one may go with the setting, and what
// the responses must keep.
function Limits({ l, focus, done }: { l: api.Lever, focus: boolean, done: () => void }) {
  const d = useData<api.Settings>('/settings')
  const [typed, setTyped] = useState<Record<string, { least?: string, most?: string }>>({})
  const [error, setError] = useState('')
  const form = useRef<HTMLFormElement>(null)
  const there = d.data !== null
  useEffect(() => { if (focus) form.current?.querySelector('input')?.focus() }, [there])
  return <Wait of={d}>{(d) => {
    const lines = d.limits.map((x) => ({ ...x, ...typed[x.of] }))
    const keep = async (e: Event) => {
      e.preventDefault()
      try {
        await api.send('PATCH', '/settings', { limits: lines })
        store.say('Limits kept.')
        done()
      } catch (e) {
        setError((e as Error).message)
      }
    }
    return <form class="gap" ref={form} onSubmit={(e) => void keep(e)}>
      <h2>Limits</h2>
      <p class="soft">How far you may go with {l.label.toLowerCase()}, and what must be kept. Nothing is proposed beyond them.</p>
      <table class="limits near"><thead><tr><th></th><th>at least</th><th>at most</th><th></th></tr></thead>
        <tbody>{l.limited.flatMap((of) => lines.filter((x) => x.of === of)).map((x) => <tr key={x.of}>
          <td>{x.label}</td>
          {(['least', 'most'] as const).map((end) => <td key={end}><input class="short" inputMode="decimal" autocomplete="off" value={x[end]} aria-label={`${x.label} at ${end}, ${unit(x.unit)}`} onInput={(e) => { const v = e.currentTarget.value; setTyped((t) => ({ ...t, [x.of]: { ...t[x.of], [end]: v } })) }} /></td>)}
          <td class="nowrap">{unit(x.unit)}</td>
        </tr>)}</tbody></table>
      {error && <p class="near" role="alert">{error}</p>}
      <div class="buttons near"><button class="first" type="submit">Keep the limits</button><button type="button" onClick={done}>As it was</button></div>
    </form>
  }}</Wait>
}

const unit = (u: string) => ({ degF: '°F', degC: '°C', inH2O: 'inH₂O', lbf: 'lb', kgf: 'kg' }[u] ?? u)

function Table({ l }: { l: api.Lever }) {
  const at = l.panels[0]!.at
  return <AsTable label={`What ${l.label.toLowerCase()} does`} name={`balance ${l.name}`}>
    <thead><tr><th class="n">{l.label}, {l.shown.unit}</th>{l.panels.map((p) => [<th class="n" key={p.measure}>{p.label}</th>, <th class="n" key={p.measure + 'band'}>90%</th>])}</tr></thead>
    <tbody>{at.map((a, k) => k % 2 === 0 && <tr key={k}>
      <td class="n">{digits(show(l.shown, a!))}</td>
      {l.panels.map((p) => [<td class="n" key={p.measure}>{label(p.shown, p.mean[k]!)}</td>, <td class="n" key={p.measure + 'band'}>{digits(show(p.shown, p.low[k]!))} to {label(p.shown, p.high[k]!)}</td>])}
    </tr>)}</tbody>
  </AsTable>
}
