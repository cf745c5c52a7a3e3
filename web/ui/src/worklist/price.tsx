// Until a price and a yield goal are given, losses are in bushels or cannot be
// said: two fields, where they are missed.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { Text } from '../parts'
import { store, useData } from '../state'

export function Price() {
  const [open, setOpen] = useState(false)
  const set = useData<api.Settings>(open ? '/settings' : '')
  const [grain, setGrain] = useState<string | null>(null)
  const [goal, setGoal] = useState<string | null>(null)
  const [error, setError] = useState('')
  if (!open) return <p class="near still"><button class="quiet" onClick={() => setOpen(true)}>In money instead of bushels</button></p>
  const metric = set.data?.units === 'metric'
  const save = async (e: Event) => {
    e.preventDefault()
    const before = set.data
    try {
      await api.send('PATCH', '/settings', { grain: grain ?? before?.grain ?? '', yield_goal: goal ?? before?.yield_goal ?? '' } satisfies api.SettingsChange)
      store.say('Losses are priced now.', before ? async () => { await api.send('PATCH', '/settings', { grain: before.grain, yield_goal: before.yield_goal }) } : undefined)
    } catch (e) { setError((e as Error).message) }
  }
  return <form class="notice near" onSubmit={(e) => void save(e)}>
    <div class="form">
      <Text label="What grain brings" value={grain ?? set.data?.grain ?? ''} set={setGrain} placeholder={metric ? '180/t' : '4.50/bu'} />
      <Text label="Yield goal" value={goal ?? set.data?.yield_goal ?? ''} set={setGoal} placeholder={metric ? '11t/ha' : '190bu/ac'} />
    </div>
    {error && <p class="near" role="alert">{error}</p>}
    <div class="buttons near"><button class="first" type="submit">Price it</button><button type="button" onClick={() => setOpen(false)}>Not now</button></div>
  </form>
}
