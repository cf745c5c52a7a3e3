// What was done, and whether it worked.
import type * as api from '../api'
import { CheckView } from '../draw/narrowing'
import { Title, Wait } from '../parts'
import { dress, looking, useData } from '../state'

export function Changed() {
  const d = useData<api.ChangedView>('/changed')
  return <>
    <Title page="Changed">What was done, and did it work?</Title>
    {!looking() && <div class="buttons near"><a class="btn" href="/journal">Write down what you change</a></div>}
    <Wait of={d}>{(d) => d.groups.length === 0 ? <p class="gap soft">Nothing is recorded as done yet. Say Done on a finding, or write down a fix: from the next lowering on the logs tell whether it worked.</p>
      : <>{d.groups.map((g) => <section key={g.title} aria-label={g.title}>
        <div class={g.title === 'Did not work' ? 'group now' : 'group'}><h2>{g.title}</h2></div>
        {g.items.map((i) => <Item key={i.time + i.finding + i.says} i={i} />)}
      </section>)}</>}</Wait>
  </>
}

function Item({ i }: { i: api.ChangedItem }) {
  const cab = dress() === 'cab'
  return <article class="item changed">
    <div>
      <div class="s">{i.finding ? <a href={'/finding/' + i.finding}>{i.says}</a> : i.says}</div>
      <div class="do"><span class="soft">{i.when}{i.by !== 'done' && i.finding ? ', by the journal' : ''}. </span>{i.check_back.says}</div>
      {!cab && i.check && i.check.rows.length > 0 && <details class="still"><summary>How it went</summary><CheckView c={i.check_back} d={i.check} /></details>}
    </div>
  </article>
}
