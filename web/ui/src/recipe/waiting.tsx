// Tables that were brought and that nobody has explained yet, where logs are
// brought and where they are missed.
import * as api from '../api'
import { Wide } from '../parts'
import { looking, store, useData } from '../state'

export function link(t: api.UnknownTable): string {
  return '/recipe' + api.query({ upload: t.upload, path: t.path, inside: t.inside, sheet: t.sheet })
}

// Waiting lists them, and what was brought and not read to the end; in brief,
// where something else comes first, in a line each. Who may only look is told of
// them and can do nothing about them.
export function Waiting({ brief }: { brief?: boolean }) {
  const d = useData<{ tables: api.UnknownTable[], unread: api.Unread[] }>('/tables')
  const all = d.data?.tables ?? [], unread = d.data?.unread ?? []
  if (all.length + unread.length === 0) return null
  const many = all.length === 1 ? 'One table that nobody has explained yet' : `${all.length} tables that nobody has explained yet`
  const beside = (t: api.UnknownTable) => all.filter((o) => o.upload === t.upload).length > 1
  if (brief) return <>
    {unread.length > 0 && <p class="near still">Brought and not read to the end{!looking() && <>: <a href="/bring">read it again, or leave it</a></>}</p>}
    {all.length > 0 && <p class="near still">{many}{!looking() && <>: <a href={all.length === 1 ? link(all[0]!) : '/logbook/recipes'}>explain {all.length === 1 ? 'it' : 'them'}</a></>}</p>}
  </>
  return <>
    {unread.length > 0 && <section class="notice gap" aria-label="Not read to the end">
      <h2>Brought and not read to the end</h2>
      {unread.map((u) => <div class="unknown" key={u.upload}>
        <p><b>{names(u)}</b></p>
        <p class="soft">{u.why} It is kept until it is read or left.</p>
        {!looking() && <div class="buttons near"><button class="first" onClick={() => void readAgain(u)}>Read it again</button><button onClick={() => void giveUp(u)}>Leave it</button></div>}
      </div>)}
    </section>}
    {all.length > 0 && <section class="notice gap" aria-label="Tables to explain">
      <h2>{many}</h2>
      <p class="soft">{looking() ? 'Tables are explained where the logbook is open.' : 'Say once what its columns are; from then on every table of that box is read. What you brought is kept until then.'}</p>
      {all.map((t) => <div class="unknown" key={link(t)}>
        <p><b>{t.name}</b></p>
        {t.lines.length > 0 && <Wide label={'First lines of ' + t.name}><pre class="small">{t.lines.join('\n')}</pre></Wide>}
        {!looking() && <div class="buttons near"><a class="btn first" href={link(t)}>Explain it</a><button onClick={() => void giveUp(t)}>{beside(t) ? 'Leave all that came with it' : 'Leave it'}</button></div>}
      </div>)}
    </section>}
  </>
}

// names says what an upload holds: one name, or the first and how many more.
export function names(u: Pick<api.Unread, 'names' | 'files'>): string {
  const first = u.names.join(', ')
  return u.files <= u.names.length ? first : `${first} (${u.files} files in all)`
}

async function readAgain(u: api.Unread) {
  try {
    await api.send('POST', `/uploads/${encodeURIComponent(u.upload)}/read`)
  } catch (e) { store.say((e as Error).message) }
}

// giveUp drops what was brought with a table: the file itself is where it came
// from.
export async function giveUp(t: { upload: string }) {
  try {
    await api.send('DELETE', '/uploads/' + encodeURIComponent(t.upload))
    store.say('Left unread. Drop the file again whenever you want it read.')
  } catch (e) { store.say((e as Error).message) }
}
