// What the next one at the wheel must know, to be read in a minute or printed.
import type * as api from '../api'
import { Cautions, Title, Wait } from '../parts'
import { useData } from '../state'

export function HandOver() {
  const h = useData<api.HandOver>('/handover')
  return <Wait of={h}>{(h) => h.empty
    ? <><Title page="Hand over">Nothing to hand over yet.</Title><p class="near soft">It is made of the last day that was read. <a href="/bring">Bring logs</a></p></>
    : <article class="over">
      <Title page="Hand over">{h.title}</Title>
      <p class="tags">{[h.where, h.planter].filter(Boolean).join(' · ')}</p>
      {h.nothing && <p class="near"><strong>Nothing is open.</strong></p>}
      {h.parts.map((p) => <section key={p.title} class="gap" aria-label={p.title}>
        <h2>{p.title}</h2>
        <ul class="near">{p.lines.map((l, i) => <li key={i}>
          {l.when && <b class="when">{l.when}</b>}{' '}
          {l.finding ? <a href={'/finding/' + l.finding}>{l.says}</a> : l.says}
          {l.do && <div class="do">{l.do}</div>}
        </li>)}
          {p.more > 0 && <li class="soft">and {p.more} more</li>}</ul>
      </section>)}
      <Cautions list={h.cautions} />
      <div class="buttons gap"><button onClick={() => print()}>Print</button></div>
    </article>}</Wait>
}
