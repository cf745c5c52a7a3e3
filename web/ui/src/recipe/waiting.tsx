// Tables that were brought and that nobody has explained yet, where logs are
// brought and where they are missed.
import * as api from '../api'
import { Wide } from '../parts'
import { store, useData } from '../state'

export function link(t: api.UnknownTable): string {
  return '/recipe' + api.query({ upload: t.upload, path: t.path, inside: t.inside, sheet: t.sheet })
}

// Waiting lists them; in brief, where something else comes first, in one line.
export function Waiting({ brief }: { brief?: boolean }) {
  const d = useData<{ tables: api.UnknownTable[] }>('/tables')
  const all = d.data?.tables ?? []
  if (all.length === 0) return null
  const many = all.length === 1 ? 'One table that nobody has explained yet' : `${all.length} tables that nobody has explained yet`
  const beside = (t: api.UnknownTable) => all.filter((o) => o.upload === t.upload).length > 1
  if (brief) return <p class="near still">{many}: <a href={all.length === 1 ? link(all[0]!) : '/logbook/recipes'}>explain {all.length === 1 ? 'it' : 'them'}</a></p>
  return <section class="notice gap" aria-label="Tables to explain">
    <h2>{many}</h2>
    <p class="soft">Say once what its columns are; from then on every table of that box is read.</p>
    {all.map((t) => <div class="unknown" key={link(t)}>
      <p><b>{t.name}</b></p>
      {t.lines.length > 0 && <Wide label={'First lines of ' + t.name}><pre class="small">{t.lines.join('\n')}</pre></Wide>}
      <div class="buttons near"><a class="btn first" href={link(t)}>Explain it</a><button onClick={() => void giveUp(t)}>{beside(t) ? 'Leave all that came with it' : 'Leave it'}</button></div>
    </div>)}
  </section>
}

// giveUp drops what was brought with a table: the file itself is where it came
// from.
export async function giveUp(t: { upload: string }) {
  try {
    await api.send('DELETE', '/uploads/' + encodeURIComponent(t.upload))
    store.say('Left unread. Drop the file again whenever you want it read.')
  } catch (e) { store.say((e as Error).message) }
}
