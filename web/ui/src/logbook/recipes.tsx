// How the tables of each box are read.
import { useRef, useState } from 'preact/hooks'
import * as api from '../api'
import { Wait } from '../parts'
import { Waiting } from '../recipe/waiting'
import { looking, settleNow, store, useData } from '../state'

export function Recipes() {
  const d = useData<{ recipes: api.Recipe[] }>('/recipes')
  const file = useRef<HTMLInputElement>(null)
  const [error, setError] = useState('')
  const bring = async (f: File | undefined) => {
    if (!f) return
    try {
      if (f.size > 256 << 10) throw new Error('That is no recipe: it is too long for one.')
      const k = await api.send<api.Kept>('POST', '/recipes/bring', { name: f.name, text: await f.text() })
      setError('')
      store.say(k.says, async () => { await api.send('DELETE', '/recipes/' + encodeURIComponent(k.name)) })
    } catch (e) { setError((e as Error).message) }
    if (file.current) file.current.value = ''
  }
  const forget = async (r: api.Recipe) => {
    try {
      await api.send('DELETE', '/recipes/' + encodeURIComponent(r.name))
      setError('')
      store.say(`${r.name} is forgotten. What was read by it goes at the next reading.`, async () => { await api.send('POST', '/recipes/bring', { name: r.name + '.toml', text: r.text }) })
    } catch (e) { setError((e as Error).message) }
  }
  return <>
    <p class="soft">A recipe says how the tables of one box are read. It is made once, from one table, and can be passed on to whoever has the same box.</p>
    <Waiting />
    {!looking() && <>
      <div class="buttons gap"><button onClick={() => file.current?.click()}>Bring a recipe</button></div>
      <input ref={file} type="file" accept=".toml" class="hush" tabIndex={-1} aria-label="Recipe to bring" onChange={(e) => void bring(e.currentTarget.files?.[0])} />
    </>}
    {error && <p class="near" role="alert"><b>{error}</b></p>}
    <Wait of={d}>{(d) => d.recipes.length === 0
      ? <p class="gap">No recipe yet. One is made when a table is brought that nobody has explained.</p>
      : <>{d.recipes.map((r) => <article class="box" key={r.name}>
        <h3>{r.box || r.name}{r.box && <span class="soft"> · {r.name}</span>}</h3>
        {r.error ? <p role="alert"><b>{r.error}</b></p> : <>{r.no_row && <p><b>{r.no_row}</b></p>}<p>{r.kind}</p></>}
        {r.note && <p class="near">{r.note}</p>}
        {r.reads.length > 0 && <details><summary>Reads {r.reads.length} things</summary><ul>{r.reads.map((x) => <li key={x}>{x}</li>)}</ul></details>}
        <details><summary>Its text</summary><pre class="small text">{r.text}</pre></details>
        <div class="buttons near">
          <a class="btn" download={r.name + '.toml'} href={`/api/v1/recipes/${encodeURIComponent(r.name)}/file?at=${store.revision}`}>Download</a>
          {!looking() && <button onClick={() => void forget(r)}>Forget</button>}
        </div>
      </article>)}
      <p class="gap soft">A recipe that was changed or forgotten takes effect at the next reading.</p>
      {!looking() && <div class="buttons near"><button onClick={settleNow}>Read again now</button></div>}</>}</Wait>
  </>
}
