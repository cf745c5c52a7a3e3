// One line for a box: what its log is, and the one thing to switch on tomorrow.
import type * as api from '../api'

type Said = Pick<api.Source, 'name' | 'grade' | 'means' | 'better' | 'silent'>

// tomorrow says the one thing at a box that would tell most more.
export function tomorrow(s: Pick<api.Source, 'better'>): string {
  const [first] = s.better
  if (!first) return 'Nothing more to switch on.'
  return 'Tomorrow: ' + first.charAt(0).toLowerCase() + first.slice(1)
}

export function BoxLine({ s }: { s: Said }) {
  return <p class="boxline"><b>{s.name}</b>{s.grade && <span class="soft"> · {s.means} (grade {s.grade})</span>}<br />
    {s.silent && <><b>{s.silent}</b>{s.better.length > 0 && <br />}</>}
    {(!s.silent || s.better.length > 0) && <span class={s.better.length ? undefined : 'soft'}>{tomorrow(s)}</span>}</p>
}

// BoxLines has a line for each box of which there is something to say, and one
// for the others.
export function BoxLines({ of }: { of: Said[] }) {
  const fine = of.filter((s) => !s.silent && s.better.length === 0)
  return <>
    {of.filter((s) => !fine.includes(s)).map((s) => <BoxLine key={s.name} s={s} />)}
    {fine.length > 0 && <p class="boxline soft">{fine.length === of.length ? 'All boxes' : fine.length === 1 ? 'One box' : `${fine.length} boxes`}: {fine.map((s) => `${s.name} (${s.grade})`).join(', ')}. Nothing more to switch on.</p>}
  </>
}
