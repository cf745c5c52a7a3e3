// What things cost, what is not to be left, and in which units it is said.
import { useEffect, useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { Pick, Text, Wait } from '../parts'
import { looking, store, useData } from '../state'

type Key = 'grain' | 'yield_goal' | 'seed' | 'left_to_plant'

// spoken is what stands beside a box: the unit that a number alone is in.
export function spoken(k: Key, d: api.Settings): string {
  const of: Record<string, string> = { '/bu': 'a bushel', '/t': 'a tonne', '/cwt': 'a cwt', 'bu/ac': 'bu/ac', 'lb/ac': 'lb/ac', 't/ha': 't/ha', ac: 'ac', ha: 'ha' }
  const bare = d.bare[k]
  const unit = of[bare] ?? 'for ' + Number(bare.slice(1)).toLocaleString('en-US') + ' seeds'
  return k === 'grain' || k === 'seed' ? `${d.currency} ${unit}` : unit
}

// alone leaves the unit away where it is the one that stands beside the box.
export const alone = (k: Key, d: api.Settings): string => d[k].endsWith(d.bare[k]) ? d[k].slice(0, d[k].length - d.bare[k].length) : d[k]

export const Amount = ({ k, d, label, value, set, hint }: { k: Key, d: api.Settings, label: string, value: string | undefined, set: (v: string) => void, hint?: string }) =>
  <Text label={label} value={value ?? alone(k, d)} set={set} mode="text" beside={spoken(k, d)} hint={hint} />

export function Prices() {
  const d = useData<api.Settings>('/settings')
  // What was typed in other units would mean something else.
  return <Wait of={d}>{(d) => <fieldset class="bare" disabled={looking()}>{looking() && <p class="notice near">This screen may only look. Prices, limits and units are set where the logbook is open.</p>}<Costs key={d.units} d={d} /><Limits key={d.units} d={d} /><Place d={d} /></fieldset>}</Wait>
}

// without leaves away what was sent and has not been typed anew since.
export const without = (typed: api.SettingsChange, sent: api.SettingsChange): api.SettingsChange =>
  Object.fromEntries(Object.entries(typed).filter(([k, v]) => JSON.stringify(v) !== JSON.stringify(sent[k as keyof api.SettingsChange])))

// useChange keeps what was typed until it is kept, with a way back. Each form has
// fields of its own: what is typed in one outlasts that another is kept.
function useChange(d: api.Settings) {
  const [s, set] = useState<api.SettingsChange>({})
  const [error, setError] = useState('')
  // What was sent stands in its boxes until the settings come back with it.
  const sent = useRef<api.SettingsChange | null>(null)
  const now = JSON.stringify(d)
  const latest = useRef(now)
  latest.current = now
  const come = () => {
    const was = sent.current
    sent.current = null
    if (was) set((s) => without(s, was))
  }
  useEffect(come, [now])
  const keep = async (e: Event, says: string) => {
    e.preventDefault()
    if (Object.keys(s).length === 0) return
    const before = Object.fromEntries(Object.keys(s).map((k) => [k, d[k as keyof api.Settings]])) as api.SettingsChange
    try {
      const got = await api.send<api.Settings>('PATCH', '/settings', s)
      setError('')
      sent.current = s
      if (JSON.stringify(got) === latest.current) come() // they are here, or it was no change
      store.say(says, async () => { await api.send('PATCH', '/settings', before) })
    } catch (e) { setError((e as Error).message) }
  }
  return { s, error, keep, put: <K extends keyof api.SettingsChange>(k: K) => (v: api.SettingsChange[K]) => set((s) => ({ ...s, [k]: v })), back: () => { set({}); setError('') }, changed: Object.keys(s).length > 0 }
}

// Keep is not disabled while nothing is changed, so that it keeps the focus; it
// does nothing then.
function Keep({ of, back, changed, error }: { of: string, back: () => void, changed: boolean, error: string }) {
  return <>
    {error && <p class="near" role="alert">{error}</p>}
    {!looking() && <div class="buttons near"><button class="first" type="submit" aria-disabled={!changed}>{of}</button>{changed && <button type="button" onClick={back}>As it was</button>}</div>}
  </>
}

function Costs({ d }: { d: api.Settings }) {
  const { s, error, keep, put, back, changed } = useChange(d)
  return <form class={looking() ? 'gap' : undefined} onSubmit={(e) => void keep(e, 'Kept; everything is priced anew.')}>
    <h2>Prices</h2>
    {d.missing.length > 0
      ? <div class="notice near"><p>Still missing:</p><ul>{d.missing.map((m) => <li key={m}>{m}.</li>)}</ul></div>
      : <p class="soft">You set them; every loss in the logbook is worked out with them.</p>}
    <div class="form near">
      <Amount k="grain" d={d} label="What grain brings" value={s.grain} set={put('grain')} hint="another unit: 180/t, 0.19/kg" />
      <Amount k="yield_goal" d={d} label="Yield goal" value={s.yield_goal} set={put('yield_goal')} />
      <Amount k="seed" d={d} label="What seed costs" value={s.seed} set={put('seed')} hint="another bag: 250/50000" />
      <Text label="An hour of the operator" value={s.labour_per_hour ?? d.labour_per_hour} set={put('labour_per_hour')} mode="decimal" beside={d.currency} />
      <Text label="An hour of tractor and planter standing" value={s.machine_per_hour ?? d.machine_per_hour} set={put('machine_per_hour')} mode="decimal" beside={d.currency} />
      <Amount k="left_to_plant" d={d} label="Still to plant beyond this field" value={s.left_to_plant} set={put('left_to_plant')} />
      <Text label="Crop" value={s.crop ?? d.crop} set={put('crop')} hint="a bushel is of this crop" />
      <Text label="Currency" value={s.currency ?? d.currency} set={put('currency')} hint="three letters, such as USD" />
    </div>
    <Keep of="Keep the prices" back={back} changed={changed} error={error} />
  </form>
}

function Limits({ d }: { d: api.Settings }) {
  const { s, error, keep, put, back, changed } = useChange(d)
  const kept = useData<api.LimitList>('/limits')
  const lines = s.limits ?? d.limits
  const set = (of: string, end: 'least' | 'most') => (v: string) => put('limits')(lines.map((l) => l.of === of ? { ...l, [end]: v } : l))
  return <form class="gap" onSubmit={(e) => void keep(e, 'Limits kept.')}>
    <h2>Limits</h2>
    <p class="soft">What you do not want to leave. They are drawn into rows, courses and the ribbon; whether a day kept them stands here. Nothing acts on the machine.</p>
    <div class="wide near" role="region" aria-label="Limits" tabIndex={0}><table class="limits">
      <thead><tr><th></th><th>at least</th><th>at most</th><th></th><th>{kept.data?.label}</th></tr></thead>
      <tbody>{lines.map((l) => {
        const days = kept.data?.limits.filter((k) => k.of === l.of) ?? [] // one for each planter of the day
        return <tr key={l.of}>
          <td>{l.label}</td>
          {(['least', 'most'] as const).map((end) => <td key={end}><input class="short" inputMode="decimal" autocomplete="off" value={l[end]} aria-label={`${l.label} at ${end}, ${unit(l.unit)}`} onInput={(e) => set(l.of, end)(e.currentTarget.value)} /></td>)}
          <td class="nowrap">{unit(l.unit)}</td>
          <td>{days.map((day) => <div key={day.planter}>{day.known ? <a href={'/rows' + api.query({ measure: day.measure.id, planter: day.planter, from: day.day, to: day.day })}>{day.says}</a> : day.says}</div>)}</td>
        </tr>
      })}</tbody>
    </table></div>
    <Keep of="Keep the limits" back={back} changed={changed} error={error} />
  </form>
}

const unit = (u: string) => ({ degF: '°F', degC: '°C', inH2O: 'inH₂O' }[u] ?? u)

function Place({ d }: { d: api.Settings }) {
  const { s, error, keep, put, back, changed } = useChange(d)
  return <form class="gap" onSubmit={(e) => void keep(e, 'Kept.')}>
    <h2>Units, zone, name</h2>
    <div class="form near">
      <Pick label="Units" value={s.units ?? d.units} set={(v) => put('units')(v as 'us' | 'metric')} of={[{ value: 'us', text: 'US customary, 12 h clock' }, { value: 'metric', text: 'metric, 24 h clock' }]} />
      <Text label="Time zone" value={s.zone ?? d.zone} set={put('zone')} list="zones" hint="its days are those of the logbook" />
      <Text label="Name of the logbook" value={s.name ?? d.name} set={put('name')} />
      <datalist id="zones">{d.zones.map((z) => <option key={z} value={z} />)}</datalist>
    </div>
    <Keep of="Keep" back={back} changed={changed} error={error} />
  </form>
}
