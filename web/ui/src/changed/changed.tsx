// What was done, and whether it worked; and what was only set.
import { useState } from 'preact/hooks'
import type * as api from '../api'
import { CheckView } from '../draw/narrowing'
import { Measures } from '../journal/followed'
import { Title, Wait } from '../parts'
import { dress, looking, store, useData } from '../state'

// shownAtFirst is how many settings are listed before one asks for more.
const shownAtFirst = 12

export function Changed() {
  const d = useData<api.ChangedView>('/changed')
  return <>
    <Title page="Changed">What was done, and did it work?</Title>
    {!looking() && <div class="buttons near"><a class="btn" href="/journal">Write down what you change</a></div>}
    <Wait of={d}>{(d) => d.groups.length + d.settings.length === 0 ? <p class="gap soft">Nothing is recorded as done or set yet. Say Done on a finding, or write down a fix or a setting: from the next lowering on the logs tell what came of it.</p>
      : <>{d.groups.map((g) => <section key={g.title} aria-label={g.title}>
        <div class={g.title === 'Did not work' ? 'group now' : 'group'}><h2>{g.title}</h2></div>
        {g.items.map((i) => <Item key={i.time + i.finding + i.says} i={i} />)}
      </section>)}
      {d.settings.length > 0 && <Settings of={d.settings} />}</>}</Wait>
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

// byDay parts settings by their day, in the order in which they come.
export function byDay(of: api.SettingItem[]): { day: string, label: string, items: api.SettingItem[] }[] {
  const out: { day: string, label: string, items: api.SettingItem[] }[] = []
  for (const i of of) {
    const last = out.at(-1)
    if (last && last.day === i.day) last.items.push(i)
    else out.push({ day: i.day, label: i.label, items: [i] })
  }
  return out
}

function Settings({ of }: { of: api.SettingItem[] }) {
  const [all, setAll] = useState(false)
  const several = (store.book?.planters.length ?? 0) > 1
  return <section aria-label="Set or moved">
    <div class="group"><h2>Set or moved</h2><span>about no finding, and what followed</span></div>
    {byDay(all ? of : of.slice(0, shownAtFirst)).map((d) => <div key={d.day}>
      <h3 class="near"><a href={'/journal?day=' + d.day}>{d.label}</a></h3>
      {d.items.map((i) => <article class="item changed" key={i.time + i.says}><div>
        <div class="s">{i.says}</div>
        <div class="do">{i.after.short}</div>
        <small class="soft">{i.from}{several && i.planter ? `, ${i.planter}` : ''}</small>
        <Measures of={[i.after]} />
      </div></article>)}
    </div>)}
    {!all && of.length > shownAtFirst && <p class="near still"><button onClick={() => setAll(true)}>All {of.length} settings</button></p>}
  </section>
}
