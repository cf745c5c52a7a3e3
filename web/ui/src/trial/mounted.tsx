// What is mounted on which rows: the list of the planter cards, and a form for one more.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { Pick, Text, Wide } from '../parts'
import { looking, store } from '../state'

export function Mounted({ d, several }: { d: api.TrialList, several: boolean }) {
  const [planter, setPlanter] = useState('')
  const [kind, setKind] = useState('')
  const [label, setLabel] = useState('')
  const [rows, setRows] = useState('')
  const [since, setSince] = useState('')
  const [error, setError] = useState('')
  const said = (p: api.MountedPart) => ({ planter: p.planter, kind: p.kind, label: p.label, rows: p.rows, since: p.since || undefined })
  const send = async (p: ReturnType<typeof said>, mistake: boolean) => {
    try {
      await api.send('POST', '/trials/mounted', { ...p, mistake })
      setError('')
      store.say(mistake ? `${p.label} is off the card.` : `${p.label} is on the card, rows ${p.rows}.`, async () => { await api.send('POST', '/trials/mounted', { ...p, mistake: !mistake }) })
      return true
    } catch (e) { setError((e as Error).message) }
    return false
  }
  const keep = async (e: Event) => {
    e.preventDefault()
    const lacks = !kind.trim() ? 'what kind of part it is' : !label.trim() ? 'what you call it' : !rows.trim() ? 'which rows carry it' : ''
    if (lacks) return setError(`Say ${lacks}.`)
    if (await send({ planter: several ? planter || d.planters[0]! : '', kind, label, rows, since: since || undefined }, false)) { setLabel(''); setRows('') }
  }
  if (d.mounted.length === 0 && looking()) return null
  return <section class="gap" aria-label="Parts on the rows">
    <h2>What is mounted on which rows</h2>
    {d.mounted.length > 0 && <Wide label="Parts on the rows" near><table>
      <thead><tr>{several && <th>planter</th>}<th>part</th><th>kind</th><th>rows</th><th>since</th>{!looking() && <th>mend</th>}</tr></thead>
      <tbody>{d.mounted.map((p) => <tr key={[p.planter, p.kind, p.label, p.rows, p.since].join()}>
        {several && <td>{p.planter}</td>}<td>{p.label}</td><td>{p.kind}</td><td>{p.rows}</td><td>{p.since || 'always'}</td>
        {!looking() && <td><button class="quiet" onClick={() => void send(said(p), true)}>Written by mistake</button></td>}
      </tr>)}</tbody>
    </table></Wide>}
    {!looking() && <form class="near" onSubmit={(e) => void keep(e)}>
      <div class="form">
        {several && <Pick label="Planter" value={planter || d.planters[0]!} set={setPlanter} of={d.planters.map((p) => ({ value: p, text: p }))} />}
        <Text label="Kind of part" value={kind} set={setKind} placeholder="such as closing wheel" list="part-kinds" />
        <Text label="What you call it" value={label} set={setLabel} placeholder="such as spoked pair" />
        <Text label="Rows" value={rows} set={setRows} placeholder="3,4 or 1-8" />
        <label class="field"><span>Mounted on</span><input type="date" value={since} onInput={(e) => setSince(e.currentTarget.value)} /><small>Empty: it was always there</small></label>
      </div>
      <datalist id="part-kinds">{d.kinds.map((k) => <option key={k} value={k} />)}</datalist>
      {error && <p class="near" role="alert">{error}</p>}
      <p class="cap">A part that came off is not a mistake: write what the rows carry since then, with its day.</p>
      <div class="buttons near"><button type="submit">Write it on the card</button></div>
    </form>}
  </section>
}
