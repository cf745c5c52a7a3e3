// This screen: its dress and theme; in the cab also the way to everything else.
import { Title } from '../parts'
import { dress, setDress, setTheme, theme, useStore, type Theme } from '../state'
import * as api from '../api'

const themes: { id: Theme, name: string, says: string }[] = [
  { id: 'light', name: 'Light', says: 'paper' }, { id: 'dark', name: 'Dark', says: 'night' }, { id: 'black', name: 'Black', says: 'the darkest night' },
]

export function More() {
  const store = useStore()
  const cab = dress() === 'cab'
  const units = store.book?.units
  const change = async (u: 'us' | 'metric') => {
    await api.send('PATCH', '/settings', { units: u })
    void store.load()
  }
  return <>
    <Title page="This screen">This screen</Title>
    {cab && <section class="gap"><h2>Other screens</h2>
      <div class="buttons near">
        <a class="btn" href="/ribbon">Ribbon</a><a class="btn" href="/ground">Ground</a><a class="btn" href="/logbook">Logbook</a><a class="btn" href="/bring">Bring logs</a>
      </div></section>}
    <section class="gap"><h2>Dress</h2>
      <p class="soft">Cab: few things, large, for a moving machine and gloves. Shop: everything, at rest.</p>
      <div class="buttons near">
        <button aria-pressed={cab} onClick={() => setDress('cab')}>Cab</button>
        <button aria-pressed={!cab} onClick={() => setDress('shop')}>Shop</button>
      </div>
    </section>
    <section class="gap"><h2>Light</h2>
      <div class="buttons near">{themes.map((t) => <button key={t.id} aria-pressed={theme() === t.id} onClick={() => setTheme(t.id)}>{t.name}</button>)}</div>
    </section>
    {!store.book?.read_only && <section class="gap"><h2>Units</h2>
      <p class="soft">Of the whole logbook, on every screen and in print.</p>
      <div class="buttons near">
        <button aria-pressed={units === 'us'} onClick={() => void change('us')}>US customary</button>
        <button aria-pressed={units === 'metric'} onClick={() => void change('metric')}>Metric</button>
      </div>
    </section>}
    <section class="gap still"><h2>Keys</h2>
      <table class="near" aria-label="Keys"><tbody>
        {[['w', 'worklist'], ['r', 'ribbon'], ['g', 'ground'], ['o', 'rows'], ['j', 'journal'], ['l', 'logbook'], ['b', 'bring logs'], ['c', 'cab and shop']].map(([k, what]) => <tr key={k}><td><kbd>{k}</kbd></td><td>{what}</td></tr>)}
      </tbody></table>
    </section>
    <p class="gap soft small">Evenstand {store.book?.version}. Advice only; it never commands a machine, and nothing leaves this computer. <a href="/licences.txt" target="_blank">Licences of what the page is made with</a></p>
  </>
}
