import type { RefObject } from 'preact'
import { useEffect, useState } from 'preact/hooks'

// useWidth gives the width of an element in CSS pixels as it changes.
export function useWidth(ref: RefObject<HTMLElement | null>, otherwise = 600): number {
  const [w, set] = useState(otherwise)
  useEffect(() => {
    if (!ref.current) return
    const o = new ResizeObserver((es) => { const x = es[0]?.contentRect.width; if (x) set(Math.floor(x)) })
    o.observe(ref.current)
    return () => o.disconnect()
  }, [])
  return w
}
