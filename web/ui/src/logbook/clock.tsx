// What a person says of a box's clock, where the logs do not tell it.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { Pick, Text } from '../parts'
import { store } from '../state'

// seconds reads what is typed; null where it is no number of 0 or more.
export function seconds(text: string): number | null {
  const x = Number(text.trim().replace(',', '.'))
  return text.trim() && Number.isFinite(x) && x >= 0 ? x : null
}

export function Clock({ s }: { s: api.Source }) {
  const said = s.clock.said_offset_s
  const [off, setOff] = useState(said === null ? '' : String(Math.abs(said)))
  const [way, setWay] = useState(said !== null && said < 0 ? 'slow' : 'fast')
  const [within, setWithin] = useState(s.clock.said_error_s === null ? '' : String(s.clock.said_error_s))
  const [error, setError] = useState('')
  const send = async (offset_s?: number, error_s?: number): Promise<boolean> => {
    try {
      await api.send('PATCH', '/sources', { planter: s.planter, box: s.name, offset_s, error_s })
      setError('')
      return true
    } catch (e) { setError((e as Error).message); return false }
  }
  const save = async (e: Event) => {
    e.preventDefault()
    const x = seconds(off), w = within.trim() ? seconds(within) : undefined
    if (x === null || w === null) { setError('Write seconds, such as 1.5.'); return }
    const before = said, sure = s.clock.said_error_s
    if (await send(way === 'slow' ? -x : x, w)) store.say('Kept for this clock. The days are made again.', async () => { await api.send('PATCH', '/sources', { planter: s.planter, box: s.name, offset_s: before ?? undefined, error_s: sure ?? undefined }) })
  }
  const back = async () => {
    if (!await send()) return
    setOff(''); setWithin(''); setWay('fast')
    store.say('Taken back. The days are made again.')
  }
  return <details class="still"><summary>{said === null ? 'Say how far its clock is off' : 'How far its clock is off, as you said'}</summary>
    <form onSubmit={(e) => void save(e)}>
      <p class="near soft">Most clocks are told by the logs. What is said here goes before it.</p>
      <div class="form near">
        <Text label="Off by" value={off} set={setOff} mode="decimal" beside="s" />
        <Pick label="Which way" value={way} set={setWay} of={[{ value: 'fast', text: 'fast: it shows a later time' }, { value: 'slow', text: 'slow: it shows an earlier time' }]} />
        <Text label="To within" value={within} set={setWithin} mode="decimal" beside="s" hint="nothing: not known" />
      </div>
      {error && <p class="near" role="alert">{error}</p>}
      <div class="buttons near"><button class="first" type="submit">Keep the clock</button>{said !== null && <button type="button" onClick={() => void back()}>Take it back</button>}</div>
    </form>
  </details>
}
