import type { RefObject } from 'preact'
import { useLayoutEffect, useState } from 'preact/hooks'

// useWidth gives the width of an element in CSS pixels as it changes. It is
// measured before the first picture is painted: one of another width would make
// a phone scroll sideways until the next.
export function useWidth(ref: RefObject<HTMLElement | null>, otherwise = 600): number {
  const [w, set] = useState(otherwise)
  useLayoutEffect(() => {
    const e = ref.current
    if (!e) return
    const keep = (x: number) => { if (x) set(Math.floor(x)) }
    keep(e.clientWidth)
    const o = new ResizeObserver((es) => keep(es[0]?.contentRect.width ?? 0))
    o.observe(e)
    return () => o.disconnect()
  }, [])
  return w
}
