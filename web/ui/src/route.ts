// Where the page is: the path, the query and what is asked for within it are all
// of it, so that every view has a link.
import { useEffect, useState } from 'preact/hooks'

export interface Place { path: string, q: URLSearchParams, hash: string }

const here = (): Place => ({ path: decoded(location.pathname), q: new URLSearchParams(location.search), hash: decoded(location.hash.slice(1)) })

// decoded reads what stands in an address; what nobody can have meant stays as
// it is.
export function decoded(s: string): string {
  try { return decodeURIComponent(s) } catch { return s }
}

const listeners = new Set<(moved: boolean) => void>()

export function usePlace(): Place {
  const [place, set] = useState(here)
  useEffect(() => {
    const l = () => set(here())
    listeners.add(l)
    addEventListener('popstate', l)
    return () => { listeners.delete(l); removeEventListener('popstate', l) }
  }, [])
  return place
}

// onLeave hears when the path changes: another screen, or the same of something
// else.
export function onLeave(l: () => void): () => void {
  let path = location.pathname
  const moved = () => { if (location.pathname !== path) { path = location.pathname; l() } }
  listeners.add(moved)
  addEventListener('popstate', moved)
  return () => { listeners.delete(moved); removeEventListener('popstate', moved) }
}

let steps = 0

// moved tells whether one has come here from another view of the page.
export const moved = (): boolean => steps > 0

// go moves to another view; with replace the one before is not gone back to.
export function go(to: string, replace = false) {
  if (to === location.pathname + location.search + location.hash) return
  if (!replace) steps++
  history[replace ? 'replaceState' : 'pushState'](null, '', to)
  for (const l of listeners) l(!replace)
}

// stay changes the query of this view, without a step of its own to go back.
export function stay(change: Record<string, string | number | undefined>) {
  const q = new URLSearchParams(location.search)
  for (const [k, v] of Object.entries(change)) {
    if (v === undefined || v === '') q.delete(k)
    else q.set(k, String(v))
  }
  const s = q.toString()
  go(location.pathname + (s && '?' + s) + location.hash, true)
}

// follow lets links within the page move without loading it again.
export function follow() {
  addEventListener('click', (e) => {
    if (e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return
    const a = (e.target as Element).closest?.('a')
    if (!a || a.target || a.hasAttribute('download') || a.origin !== location.origin || a.pathname.startsWith('/api/')) return
    if (a.hash && a.pathname === location.pathname && a.search === location.search) return
    e.preventDefault()
    go(a.pathname + a.search + a.hash)
    if (!a.hash) scrollTo(0, 0) // else the screen shows what was asked for
  })
}
