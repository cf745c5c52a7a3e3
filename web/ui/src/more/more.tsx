// How the page looks in this browser: cab or shop, light or dark, letter keys; in
// the cab also the way to everything else.
import { useState } from 'preact/hooks'
import { Title } from '../parts'
import { dress, letterKeys, setDress, setLetterKeys, setTheme, theme, useStore, type Theme } from '../state'
import * as api from '../api'

const themes: { id: Theme, name: string }[] = [{ id: 'light', name: 'Light' }, { id: 'dark', name: 'Dark' }, { id: 'black', name: 'Black' }]

export function More() {
  const store = useStore()
  const cab = dress() === 'cab', letters = letterKeys()
  const units = store.book?.units
  const change = async (u: 'us' | 'metric') => {
    try {
      await api.send('PATCH', '/settings', { units: u })
      void store.load()
    } catch (e) { store.say((e as Error).message) }
  }
  return <>
    <Title page="How it looks here">How it looks here</Title>
    <p class="soft">Kept in this browser alone, but for the units.</p>
    {cab && <section class="gap"><h2>Other screens</h2>
      <div class="buttons near">
        <a class="btn" href="/journal">Journal</a><a class="btn" href="/handover">Hand over</a><a class="btn" href="/ribbon">Ribbon</a><a class="btn" href="/ground">Ground</a><a class="btn" href="/logbook">Logbook</a><a class="btn" href="/bring">Bring logs</a>
      </div></section>}
    <section class="gap"><h2>Cab or shop</h2>
      <p class="soft">Cab: few things, large, for a moving machine and gloves. Shop: everything, at rest.</p>
      <div class="buttons near">
        <button aria-pressed={cab} onClick={() => setDress('cab')}>Cab</button>
        <button aria-pressed={!cab} onClick={() => setDress('shop')}>Shop</button>
      </div>
    </section>
    <section class="gap"><h2>Light or dark</h2>
      <p class="soft">Light is for the day, dark for the night, black for the darkest night in the cab.</p>
      <div class="buttons near">{themes.map((t) => <button key={t.id} aria-pressed={theme() === t.id} onClick={() => setTheme(t.id)}>{t.name}</button>)}</div>
    </section>
    {!store.book?.read_only && <section class="gap"><h2>Units</h2>
      <p class="soft">Of the whole logbook, on every screen and in print.</p>
      <div class="buttons near">
        <button aria-pressed={units === 'us'} onClick={() => void change('us')}>US customary</button>
        <button aria-pressed={units === 'metric'} onClick={() => void change('metric')}>Metric</button>
      </div>
    </section>}
    <section class="gap"><h2>Letter keys</h2>
      <p class="soft">One letter opens a screen, and on the ribbon letters and signs move and zoom. Switch them off if you speak to the computer, or hit keys without meaning to. Arrows, Tab, Enter and Escape always work.</p>
      <div class="buttons near" role="group" aria-label="Letter keys">
        <button aria-pressed={letters} onClick={() => setLetterKeys(true)}>On</button>
        <button aria-pressed={!letters} onClick={() => setLetterKeys(false)}>Off</button>
      </div>
      {letters && <table class="near still" aria-label="Keys"><tbody>
        {[['w', 'worklist'], ['r', 'ribbon'], ['g', 'ground'], ['o', 'rows'], ['j', 'journal'], ['k', 'check-back'], ['a', 'balance'], ['t', 'row trial'], ['h', 'hand over'], ['s', 'cost sheet'], ['l', 'logbook'], ['b', 'bring logs'], ['c', 'cab and shop'], ['n p', 'on the ribbon: next and previous finding'], ['[ ]', 'previous and next pass'], ['+ - 0', 'nearer, farther, the whole pass']].map(([k, what]) => <tr key={k}><td><kbd>{k}</kbd></td><td>{what}</td></tr>)}
      </tbody></table>}
    </section>
    {!store.book?.read_only && <Second />}
    <p class="gap soft small">Evenstand {store.book?.version}. Advice only; it never commands a machine, and nothing leaves this computer. <a href="/licences.txt" target="_blank">Licences of what the page is made with</a></p>
  </>
}

// Second gives a link for a screen that may only look.
function Second() {
  const [got, set] = useState<{ links: string[], says: string } | null>(null)
  const [error, setError] = useState('')
  const ask = async () => {
    try {
      set(await api.send('POST', '/screens'))
      setError('')
    } catch (e) { setError((e as Error).message) }
  }
  return <section class="gap still"><h2>A second screen</h2>
    <p class="soft">A tablet beside you, or the manager's: it looks and changes nothing.</p>
    <div class="buttons near"><button onClick={() => void ask()}>Make a link</button></div>
    {got && <><p class="near">{got.says}</p><ul class="near">{got.links.map((l) => <li key={l}><code>{l}</code></li>)}</ul></>}
    {error && <p class="near" role="alert">{error}</p>}
  </section>
}
