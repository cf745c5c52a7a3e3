// Until a price and a yield goal are given, losses are in bushels or cannot be
// said: two fields, where they are missed.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { Amount } from '../logbook/prices'
import { Wait } from '../parts'
import { store, useData } from '../state'

export function Price() {
  const [open, setOpen] = useState(false)
  const set = useData<api.Settings>(open ? '/settings' : '')
  const [grain, setGrain] = useState<string | null>(null)
  const [goal, setGoal] = useState<string | null>(null)
  const [error, setError] = useState('')
  if (!open) return <div class="call near still"><span>Losses are not in money yet.</span><button onClick={() => setOpen(true)}>Say what grain brings</button></div>
  if (!set.data) return <Wait of={set}>{() => null}</Wait>
  const save = async (e: Event) => {
    e.preventDefault()
    const before = set.data
    try {
      const now = await api.send<api.Settings>('PATCH', '/settings', { grain: grain ?? before?.grain ?? '', yield_goal: goal ?? before?.yield_goal ?? '' } satisfies api.SettingsChange)
      setError('')
      store.say(now.grain && now.yield_goal ? 'Losses are priced now.' : `Kept. Still missing: ${now.missing[0]}.`, before ? async () => { await api.send('PATCH', '/settings', { grain: before.grain, yield_goal: before.yield_goal }) } : undefined)
    } catch (e) { setError((e as Error).message) }
  }
  return <form class="notice near" onSubmit={(e) => void save(e)}>
    <div class="form">
      <Amount k="grain" d={set.data} label="What grain brings" value={grain ?? undefined} set={setGrain} />
      <Amount k="yield_goal" d={set.data} label="Yield goal" value={goal ?? undefined} set={setGoal} />
    </div>
    {error && <p class="near" role="alert">{error}</p>}
    <div class="buttons near"><button class="first" type="submit">Price it</button><button type="button" onClick={() => setOpen(false)}>Not now</button></div>
  </form>
}
