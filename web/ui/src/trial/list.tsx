// All row trials, and a plan for the next.
import type * as api from '../api'
import { Title, Wait } from '../parts'
import { useData } from '../state'
import { Mounted } from './mounted'
import { Planner } from './planner'

export function Trials() {
  const d = useData<api.TrialList>('/trials')
  return <Wait of={d}>{(d) => <>
    <Title page="Row trial">{d.trials.length === 0 ? 'No row trial yet.' : d.trials.length === 1 ? 'One row trial.' : `${d.trials.length} row trials.`}</Title>
    {d.trials.length === 0
      ? <div class="near"><p>{d.empty.replace(/^No row trial yet\. /, '')}</p><p><a href="/logbook/planter">To the planter card</a> · <a href="/journal">To the journal</a></p></div>
      : <div class="near">{d.trials.map((t) => <div class="item" key={t.id}>
        <div><div class="s"><a href={'/trial/' + encodeURIComponent(t.id)}>{t.heading}</a></div><p>{t.sentence}</p><div class="do">{t.planter}</div></div>
        <div class="money"><small>{t.money}</small></div>
      </div>)}</div>}
    <Mounted d={d} several={d.planters.length > 1} />
    <Planner parts={d.parts} />
  </>}</Wait>
}
