// One line for a box: what its log is, and the one thing to switch on tomorrow.
import type * as api from '../api'

type Said = Pick<api.Source, 'name' | 'grade' | 'means' | 'better'>

// tomorrow says the one thing at a box that would tell most more.
export function tomorrow(s: Pick<api.Source, 'better'>): string {
  const [first] = s.better
  if (!first) return 'Nothing more to switch on.'
  return 'Tomorrow: ' + first.charAt(0).toLowerCase() + first.slice(1)
}

export function BoxLine({ s }: { s: Said }) {
  return <p class="boxline"><b>{s.name}</b>{s.grade && <span class="soft"> · {s.means} (grade {s.grade})</span>}<br />
    <span class={s.better.length ? undefined : 'soft'}>{tomorrow(s)}</span></p>
}
