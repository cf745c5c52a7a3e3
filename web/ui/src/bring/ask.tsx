// What the logs leave open about a planter: one sentence to say yes to, or to
// mend.
import { useState } from 'preact/hooks'
import * as api from '../api'
import { Side } from '../logbook/planter'
import { Text } from '../parts'
import { store } from '../state'

type Asked = api.Book['ask'][number]

export function Ask({ a }: { a: Asked }) {
  const metric = store.book?.units === 'metric'
  const unit = metric ? 0.01 : 0.0254
  const [mend, setMend] = useState(false)
  const [rows, setRows] = useState(String(a.rows))
  const [wide, setWide] = useState(String(Math.round((a.row_spacing_m ?? 0.762) / unit * 10) / 10))
  const [first, setFirst] = useState<'left' | 'right'>('left')
  const [error, setError] = useState('')
  const save = async () => {
    const n = Number(rows), w = Number(wide.replace(',', '.')) * unit
    if (!(n >= 1) || !(w > 0)) { setError('Write the number of rows, and how far they stand apart.'); return }
    try {
      await api.send('PATCH', '/cards', { planter: a.planter, rows: n, row_spacing_m: w, row_1: first })
      store.say('Kept on the planter card. It can be changed there, not made unknown again.', undefined, { to: '/logbook/planter#change', name: 'Change it' })
      await api.send('POST', '/settle') // at once: nothing more is to come
      void store.load()
    } catch (e) { setError((e as Error).message) }
  }
  return <section class="notice ask" aria-label="To confirm">
    <p><b>{a.says}</b></p>
    {mend && <div class="form near">
      <Text label="Rows" value={rows} set={setRows} mode="numeric" />
      <Text label="Apart" value={wide} set={setWide} mode="decimal" beside={metric ? 'cm' : 'in'} />
      <Side value={first} set={setFirst} />
    </div>}
    {error && <p role="alert" class="near">{error}</p>}
    <div class="buttons near">
      <button class="first" onClick={() => void save()}>{mend ? 'Keep' : 'Yes'}</button>
      {!mend && <button onClick={() => setMend(true)}>No, change it</button>}
    </div>
  </section>
}
