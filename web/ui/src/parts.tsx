// Small pieces that all screens use.
import type { ComponentChildren } from 'preact'
import { useEffect, useRef } from 'preact/hooks'
import { moved, usePlace } from './route'
import type { Data } from './state'

// The path whose heading has had the focus; the first one is not asked for it.
let opened = ''

// Title is a screen's first heading: it takes the focus when another screen, or
// the same of something else, is opened, so that a screen reader says where one
// is and Tab goes on from there. One that comes in the place of another, when
// what was awaited is there, takes it if nobody else has it.
export function Title({ children, page }: { children: ComponentChildren, page: string }) {
  const ref = useRef<HTMLHeadingElement>(null)
  useEffect(() => { document.title = page + ' · Evenstand' }, [page])
  const { path } = usePlace()
  useEffect(() => {
    const other = opened !== '' && opened !== path
    opened = path
    if (other || moved() && document.activeElement === document.body) ref.current?.focus({ preventScroll: true })
  }, [path])
  return <h1 ref={ref} tabIndex={-1}>{children}</h1>
}

// Wait shows what is asked for once it is there, and else that it is coming or
// what is wrong and how to go on. What could not be asked for anew stays, and
// says that it is of before.
export function Wait<T>({ of, children }: { of: Data<T>, children: (data: T) => ComponentChildren }) {
  if (of.data) return <>{of.error && <Old why={of.error} again={of.again} />}{children(of.data)}</>
  if (of.error) return <Wrong text={of.error} again={of.again} />
  return <p class="soft" role="status">One moment…</p>
}

// Old says that what stands below could not be brought up to date.
export function Old({ why, again }: { why: string, again: () => void }) {
  return <div class="notice old" role="status">
    <p>What is shown here is from before. {why}</p>
    <button onClick={again}>Try again</button>
  </div>
}

export function Wrong({ text, again }: { text: string, again?: () => void }) {
  return <div class="notice bad" role="alert">
    <p>{text}</p>
    {again && <div class="buttons near"><button onClick={again}>Try again</button></div>}
  </div>
}

// Cautions are the usual words before anyone touches the machine.
export function Cautions({ list, head }: { list: string[], head?: string }) {
  if (list.length === 0) return null
  return <div class="caution" role="note" aria-label={head ?? 'Be careful'}>
    {head && <strong>{head}</strong>}
    {list.length === 1 ? <p>{list[0]}</p> : <ul>{list.map((c) => <li key={c}>{c}</li>)}</ul>}
  </div>
}

// AsTable holds the data of a drawing, folded, to read or to take along.
export function AsTable(p: { label: string, name: string, children: ComponentChildren }) {
  return <details class="still"><summary>As a table</summary><Sheet {...p} /></details>
}

// Sheet is a table to read or to take along.
export function Sheet({ label, name, children }: { label: string, name: string, children: ComponentChildren }) {
  const ref = useRef<HTMLTableElement>(null)
  const take = () => {
    const cells = [...ref.current!.rows].map((r) => [...r.cells].map((c) => c.textContent ?? ''))
    const a = document.createElement('a')
    a.href = URL.createObjectURL(new Blob([csv(cells)], { type: 'text/csv' }))
    a.download = name + '.csv'
    a.click()
    setTimeout(() => URL.revokeObjectURL(a.href), 1000)
  }
  return <>
    <Wide label={label}><table ref={ref}>{children}</table></Wide>
    <div class="buttons near"><button aria-label={`${label}, CSV`} onClick={take}>CSV</button></div>
  </>
}

// csv writes cells as RFC 4180 asks.
export const csv = (rows: string[][]): string => rows.map((r) => r.map((c) => /[",\n]/.test(c) ? '"' + c.replaceAll('"', '""') + '"' : c).join(',')).join('\r\n') + '\r\n'

export function Pairs({ rows, label }: { rows: { what: string, says: string }[], label: string }) {
  return <table class="pair" aria-label={label}><tbody>
    {rows.map((r) => <tr key={r.what}><td>{r.what}</td><td>{r.says}</td></tr>)}
  </tbody></table>
}

// Needs are what is missing, each with the screen where it can be said.
export function Needs({ of }: { of: { text: string, link: string, name: string }[] }) {
  return <>{of.map((n) => <li key={n.text}>{n.text.charAt(0).toUpperCase() + n.text.slice(1).replace(/\.$/, '')}. {n.link && <a href={n.link}>{n.name}</a>}</li>)}</>
}

// fieldName says what is planted outside of every boundary that is known.
export const fieldName = (f: string): string => f === 'unassigned' ? 'field not named' : f

// Choice is a labelled select.
export function Choice(p: { label: string, value: string, of: { value: string, text: string }[], set: (v: string) => void }) {
  return <label>{p.label}
    <select value={p.value} onChange={(e) => p.set(e.currentTarget.value)}>
      {p.of.map((o) => <option key={o.value} value={o.value}>{o.text}</option>)}
    </select>
  </label>
}

// Pick is a choice in a form.
export function Pick(p: { label: string, value: string, of: { value: string, text: string }[], set: (v: string) => void }) {
  return <label class="field"><span>{p.label}</span>
    <select value={p.value} onChange={(e) => p.set(e.currentTarget.value)}>{p.of.map((o) => <option key={o.value} value={o.value}>{o.text}</option>)}</select>
  </label>
}

// Text is a labelled field, with what the number is in beside it.
export function Text(p: { label: string, hint?: string, value: string, set: (v: string) => void, mode?: 'numeric' | 'decimal' | 'text', placeholder?: string, list?: string, beside?: string }) {
  const input = <input value={p.value} inputMode={p.mode} placeholder={p.placeholder} list={p.list} autocomplete="off" onInput={(e) => p.set(e.currentTarget.value)} />
  return <label class="field"><span>{p.label}</span>
    {p.beside ? <span class="beside">{input}<span>{p.beside}</span></span> : input}
    {p.hint && <small>{p.hint}</small>}
  </label>
}

// Wide holds a table that may be wider than the screen: it alone moves sideways,
// by keys too.
export function Wide({ label, near, children }: { label: string, near?: boolean, children: ComponentChildren }) {
  return <div class={near ? 'wide near' : 'wide'} role="region" aria-label={label} tabIndex={0}>{children}</div>
}
