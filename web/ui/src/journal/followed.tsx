// What followed a change of a setting: in one line, and all measures behind a tap.
import type * as api from '../api'

type Told = NonNullable<api.Followed['effects'][number]['told']>

// tableOf parts what was told into lines of a table and reasons for which measures
// tell nothing, each said once.
export function tableOf(f: Pick<api.Followed, 'effects'>): { lines: Told[], by: string, not: { of: string[], why: string }[] } {
  const lines: Told[] = [], not: { of: string[], why: string }[] = []
  for (const e of f.effects) {
    const t = e.told
    if (!t) continue
    if (t.difference) { lines.push(t); continue }
    const have = not.find((n) => n.why === t.verdict)
    if (have) have.of.push(t.measure)
    else not.push({ of: [t.measure], why: t.verdict })
  }
  const by = lines.length > 0 && lines.every((l) => l.from === lines[0]!.from) ? lines[0]!.from : ''
  return { lines, by, not }
}

// Measures is the table behind the tap. Where two sides were changed at once it
// stands for each.
export function Measures({ of }: { of: api.Followed[] }) {
  const some = of.map((f) => ({ f, t: tableOf(f) })).filter(({ f, t }) => t.lines.length > 0 || f.aside)
  if (some.length === 0) return null
  return <details><summary>All measures</summary>{some.map(({ f, t }) => <div key={f.says}>
    {some.length > 1 && f.side && <h4>{f.side === 'left' ? 'Left side' : 'Right side'}</h4>}
    {t.lines.length > 0 && <div class="wide" role="region" aria-label="All measures" tabIndex={0}><table class="measures">
      <thead><tr><th>Measure</th><th class="n">Before</th><th class="n">After</th><th class="n">Difference</th><th class="n">90 % range</th><th>Verdict</th>{!t.by && <th>Told by</th>}</tr></thead>
      <tbody>{t.lines.map((l) => <tr key={l.measure} class={l.verdict === 'less' || l.verdict === 'more' ? 'told' : ''}>
        <th scope="row">{l.measure}</th><td class="n">{l.before}</td><td class="n">{l.after}</td><td class="n">{l.difference}</td><td class="n">{l.range}</td><td>{l.verdict}</td>{!t.by && <td>{l.from}</td>}
      </tr>)}</tbody>
    </table></div>}
    {t.by && <p class="soft">Told by {t.by}. After is before and the difference: what the ground and the other rows did is off.</p>}
    {t.not.map((n) => <p class="soft" key={n.why}>{n.of.join(', ')}: {n.why}.</p>)}
    {f.aside && <p class="soft">{f.aside}</p>}
  </div>)}</details>
}

// Followed is what followed a change: in short, and all of it behind a tap. What
// both sides of one change show alike is said once.
export function Followed({ of }: { of: api.Followed[] }) {
  if (of.length === 0) return null
  const short = new Map<string, Set<string>>()
  for (const f of of) short.set(f.short, (short.get(f.short) ?? new Set()).add(f.side))
  const named = short.size > 1
  return <div class="followed" role="group" aria-label="What followed">
    {[...short].map(([t, sides]) => <div key={t}>{named && sides.size === 1 && [...sides][0] ? `${[...sides][0] === 'left' ? 'Left' : 'Right'} side: ` : ''}{t}</div>)}
    <Measures of={of} />
  </div>
}
