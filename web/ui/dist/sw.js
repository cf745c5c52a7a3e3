// Keeps the page for when there is no network. What is asked of the server goes to
// the server: the screens keep for themselves what they want to show without one.
const shell = ["/","/assets/atkinson-hyperlegible-next-latin-400-normal-XD2DM5SQ.woff2","/assets/atkinson-hyperlegible-next-latin-600-normal-MAP227RB.woff2","/assets/chunk-SWW7XPCI.js","/assets/main-UXXF37FJ.js","/assets/style-CG5OZVMA.css","/icon-192.png","/icon.svg","/manifest.webmanifest"] // filled in by build.mjs
const name = 'evenstand-322fb9e9e764'
const patience = 4000 // ms that a page is waited for before the kept one is shown

self.addEventListener('install', (e) => {
  e.waitUntil((async () => {
    const c = await caches.open(name)
    await c.addAll(shell.map((u) => new Request(u, u.startsWith('/assets/') ? {} : { cache: 'reload' })))
    await self.skipWaiting()
  })())
})

self.addEventListener('activate', (e) => {
  e.waitUntil((async () => {
    for (const n of await caches.keys()) if (n.startsWith('evenstand-') && n !== name) await caches.delete(n)
    await self.clients.claim()
  })())
})

const kept = async (path) => (await caches.open(name)).match(path)

// page asks for a page; the kept one stands in where nobody answers.
async function page(request) {
  const stop = new AbortController()
  const timer = setTimeout(() => stop.abort(), patience)
  try {
    return await fetch(request, { signal: stop.signal })
  } catch (why) {
    return await kept('/') ?? Promise.reject(why)
  } finally {
    clearTimeout(timer)
  }
}

self.addEventListener('fetch', (e) => {
  const u = new URL(e.request.url)
  if (e.request.method !== 'GET' || u.origin !== location.origin || u.pathname.startsWith('/api/')) return
  if (e.request.mode === 'navigate') {
    if (!u.pathname.startsWith('/screen/') && u.pathname !== '/pair') e.respondWith(page(e.request))
    return
  }
  if (shell.includes(u.pathname)) e.respondWith(kept(u.pathname).then((r) => r ?? fetch(e.request)))
})
