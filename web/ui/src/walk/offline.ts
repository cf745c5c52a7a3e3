// The page itself without a network: a service worker (sw.js) keeps what it loads.
// Browsers allow that to pages of this computer and to pages over https alone.
let once: Promise<boolean> | undefined

// installed has the page kept, once, and tells whether it is.
export function installed(): Promise<boolean> {
  return once ??= (async () => {
    if (!isSecureContext || !('serviceWorker' in navigator)) return false
    try {
      await navigator.serviceWorker.register('/sw.js')
      return await Promise.race([navigator.serviceWorker.ready.then(() => true), new Promise<boolean>((ok) => setTimeout(() => ok(false), 15_000))])
    } catch { // not now: the network is away, or the browser does not wish it
      return (await navigator.serviceWorker.getRegistration().catch(() => undefined))?.active != null
    }
  })()
}
