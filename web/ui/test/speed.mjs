// Times the page on a logbook of a season (test/season.mjs), in Chromium without
// a graphics card, and prints the figures.
//
//	node test/speed.mjs PROGRAM LOGBOOK
import { chromium } from 'playwright-core'
import { spawn } from 'node:child_process'
import { readFileSync, readdirSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { gzipSync } from 'node:zlib'

const p = spawn(resolve(process.argv[2]), ['open', resolve(process.argv[3]), '--no-browser', '--listen', '127.0.0.1:0'])
const base = await new Promise((ok) => { let out = ''; p.stdout.on('data', (d) => { out += d; const m = out.match(/http:\/\/[\d.:]+/); if (m) ok(m[0]) }) })
const book = await (await fetch(base + '/api/v1/book')).json()
const seeds = book.days.reduce((n, d) => n + d.seeds, 0)
console.log(`${(seeds / 1e6).toFixed(1)} million seeds, ${book.days.length} days, ${book.rows} rows`)
const median = (a) => [...a].sort((x, y) => x - y)[Math.floor(a.length / 2)]
const quantile = (a, q) => [...a].sort((x, y) => x - y)[Math.min(a.length - 1, Math.floor(a.length * q))]

const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--disable-background-networking', '--enable-precise-memory-info'] })
const context = () => browser.newContext({ viewport: { width: 1440, height: 900 } })

// timed opens a path in a fresh browser five times and waits until it is there.
async function timed(name, path, ready) {
  const ms = []
  for (let i = 0; i < 5; i++) {
    const ctx = await context()
    const page = await ctx.newPage()
    const t = performance.now()
    await page.goto(base + path)
    await ready(page)
    ms.push(performance.now() - t)
    await ctx.close()
  }
  console.log(`${name}: median ${median(ms).toFixed(0)} ms, slowest ${Math.max(...ms).toFixed(0)} ms, in a fresh browser`)
}
await timed('first paint of the worklist', '/', (p) => p.locator('.item').first().waitFor())

const passes = (await (await fetch(base + '/api/v1/passes')).json()).passes.sort((a, b) => b.length_m - a.length_m)
const long = passes[0]
{
  // The ribbon of a pass, asked for within the page as one goes from pass to pass.
  const ctx = await context()
  const page = await ctx.newPage()
  await page.goto(base + '/ribbon?' + new URLSearchParams({ pass: long.key }))
  await page.waitForFunction(() => window.ribbon?.frames.length > 2)
  const ms = []
  for (let i = 0; i < 25; i++) {
    const pass = passes[Math.floor((i + 0.5) * Math.min(passes.length, 250) / 25)]
    ms.push(await page.evaluate(async (key) => {
      const t = performance.now()
      history.pushState(null, '', '/ribbon?' + new URLSearchParams({ pass: key }))
      dispatchEvent(new PopStateEvent('popstate'))
      while (window.ribbon.p.key !== key || !window.ribbon.complete) await new Promise((r) => setTimeout(r, 4))
      return performance.now() - t
    }, pass.key))
  }
  console.log(`ribbon of another pass: median ${median(ms).toFixed(0)} ms, slowest of ${ms.length} ${Math.max(...ms).toFixed(0)} ms`)
  await page.goto(base + '/ribbon?' + new URLSearchParams({ pass: long.key }))
  await page.waitForFunction(() => window.ribbon?.frames.length > 2)
  for (const [name, from, to] of [['all of it', 0, long.length_m], ['200 m', 300, 500], ['40 m', 300, 340], ['every seed, 15 m', 300, 315]]) {
    await page.evaluate(([a, b]) => window.ribbon.set(a, b), [from, to])
    await page.waitForTimeout(1500)
    const r = await page.evaluate(async () => {
      const v = window.ribbon, gaps = []
      v.frames.length = 0
      let last = performance.now()
      for (let i = 0; i < 300; i++) {
        v.pan(i % 100 < 50 ? -14 : 14)
        await new Promise((r) => requestAnimationFrame(r))
        const n = performance.now()
        gaps.push(n - last)
        last = n
      }
      return { draw: v.frames, gaps }
    })
    console.log(`panning ${name} of ${long.length_m.toFixed(0)} m: drawing a frame p95 ${quantile(r.draw, 0.95).toFixed(1)} ms, p99 ${quantile(r.draw, 0.99).toFixed(1)} ms; from frame to frame p50 ${quantile(r.gaps, 0.5).toFixed(1)} ms, p95 ${quantile(r.gaps, 0.95).toFixed(1)} ms`)
  }
  console.log(`memory of the page: ${(await page.evaluate(() => performance.memory.usedJSHeapSize) / 1e6).toFixed(0)} MB of scripts' heap`)
  await ctx.close()
}
await timed('ground of the season', '/ground', (p) => p.waitForFunction(() => window.ground?.ready === true, null, { timeout: 60_000 }))
const dist = resolve('dist')
const files = readdirSync(dist, { recursive: true }).filter((f) => /\.(js|mjs|css|html|svg|webmanifest|woff2)$/.test(f))
console.log(`page: ${(files.reduce((n, f) => n + gzipSync(readFileSync(join(dist, f)), { level: 9 }).length, 0) / 1e3).toFixed(0)} kB compressed, all screens`)
await browser.close()
p.kill('SIGINT')
