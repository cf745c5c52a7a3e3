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
process.on('exit', () => p.kill('SIGINT'))
const base = await new Promise((ok) => { let out = ''; p.stdout.on('data', (d) => { out += d; const m = out.match(/http:\/\/[\d.:]+/); if (m) ok(m[0]) }) })
const book = await (await fetch(base + '/api/v1/book')).json()
const seeds = book.days.reduce((n, d) => n + d.seeds, 0)
console.log(`${(seeds / 1e6).toFixed(1)} million seeds, ${book.days.length} days, ${book.rows} rows`)
const median = (a) => [...a].sort((x, y) => x - y)[Math.floor(a.length / 2)]
const quantile = (a, q) => [...a].sort((x, y) => x - y)[Math.min(a.length - 1, Math.floor(a.length * q))]

const launch = (...more) => chromium.launch({ executablePath: '/usr/bin/chromium', args: [...more, '--no-sandbox', '--disable-gpu', '--disable-quic', '--disable-background-networking', '--enable-precise-memory-info'] })
let browser = await launch()
const context = () => browser.newContext({ viewport: { width: 1440, height: 900 } })

// held is what the largest page's process holds for itself, in MB (Linux:
// private memory of /proc/PID/smaps_rollup).
function held() {
  let most = 0
  for (const pid of readdirSync('/proc').filter((d) => /^\d+$/.test(d))) {
    try {
      if (!readFileSync(`/proc/${pid}/cmdline`, 'utf8').includes('--type=renderer')) continue
      const kb = [...readFileSync(`/proc/${pid}/smaps_rollup`, 'utf8').matchAll(/^Private_\w+:\s+(\d+) kB/gm)].reduce((n, m) => n + Number(m[1]), 0)
      most = Math.max(most, kb / 1000)
    } catch { /* gone meanwhile */ }
  }
  return most.toFixed(0)
}

// timed opens a path in a fresh browser five times and waits until it is there,
// step by step.
async function timed(path, steps) {
  await fetch(base + '/api/v1/worklist') // from then on it works ahead
  await new Promise((r) => setTimeout(r, 6000))
  const ms = steps.map(() => [])
  let mb = 0
  for (let i = 0; i < 5; i++) {
    const ctx = await context()
    const page = await ctx.newPage()
    const t = performance.now()
    await page.goto(base + path, { waitUntil: 'commit' })
    for (const [k, [, ready]] of steps.entries()) {
      await ready(page)
      ms[k].push(performance.now() - t)
    }
    mb = Math.max(mb, Number(held()))
    await ctx.close()
  }
  steps.forEach(([name], k) => console.log(`${name}: median ${median(ms[k]).toFixed(0)} ms, slowest ${Math.max(...ms[k]).toFixed(0)} ms, in a fresh browser; the page holds ${mb} MB`))
}
await timed('/', [['first paint of the worklist', (p) => p.locator('.item').first().waitFor()]])

const passes = (await (await fetch(base + '/api/v1/passes')).json()).passes.sort((a, b) => b.length_m - a.length_m)
const long = passes[0]
{
  // What this computer gives a page that draws nothing, from frame to frame.
  const ctx = await context()
  const page = await ctx.newPage()
  await page.goto(base + '/more')
  const gaps = await page.evaluate(async () => {
    const gaps = []
    let last = performance.now()
    for (let i = 0; i < 300; i++) { await new Promise((r) => requestAnimationFrame(r)); const n = performance.now(); gaps.push(n - last); last = n }
    return gaps
  })
  console.log(`a page that draws nothing: from frame to frame p50 ${quantile(gaps, 0.5).toFixed(1)} ms, p95 ${quantile(gaps, 0.95).toFixed(1)} ms, p99 ${quantile(gaps, 0.99).toFixed(1)} ms`)
  await ctx.close()
}
{
  // The ribbon of a pass, asked for within the page as one goes from pass to pass.
  const ctx = await context()
  const page = await ctx.newPage()
  await page.goto(base + '/ribbon?' + new URLSearchParams({ pass: long.key }))
  await page.waitForFunction(() => window.ribbon?.complete)
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
  await page.waitForFunction(() => window.ribbon?.complete)
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
  console.log(`memory of the page on the ribbon: ${held()} MB`)
  await ctx.close()
}
{
  // A million marks: a pass of 36 rows and a mile, of which the server's replies
  // are changed on the way so that its tiles hold a million marks at every level
  // from afar; what draws them is the page's own code.
  const ctx = await context()
  const page = await ctx.newPage()
  const rows = 36, length = 1670, total = 1_000_000
  await page.route('**/api/v1/pass?*', async (route) => {
    const r = await route.fetch()
    await route.fulfill({ response: r, json: { ...await r.json(), rows, length_m: length, grade: 'A', places: true } })
  })
  await page.route('**/api/v1/ribbon?*', (route) => {
    const q = new URL(route.request().url()).searchParams
    const size = 512 * 2 ** Number(q.get('level')) / 256, from = Number(q.get('tile')) * size, to = from + size
    const each = Math.max(0, Math.round(total / rows * (Math.min(length, to) - from) / length)), n = rows * each
    const at = { s: 0, t: 4 * n, gap: 8 * n, n: 12 * n, row: 14 * n, kind: 15 * n }
    const body = Buffer.alloc(16 * n)
    let seed = 7
    const rnd = () => (seed = (seed * 1103515245 + 12345) % 2147483648) / 2147483648
    for (let r = 0, i = 0; r < rows; r++) for (let k = 0; k < each; k++, i++) {
      body.writeInt32LE(Math.round((from + (Math.min(length, to) - from) * (k + rnd()) / each) * 1000), 4 * i)
      body.writeInt32LE(150, at.gap + 4 * i)
      body.writeUInt16LE(rnd() < 0.8 ? 1 : 1 + Math.floor(rnd() * 30), at.n + 2 * i)
      body[at.row + i] = r + 1
      body[at.kind + i] = rnd() < 0.6 ? 1 : 2
    }
    const type = { s: 'i32', t: 'i32', gap: 'i32', n: 'u16', row: 'u8', kind: 'u8' }
    let head = JSON.stringify({ columns: Object.entries(at).map(([name, at]) => ({ name, type: type[name], n, at })), meta: { from_m: from, to_m: to, seeds: false } })
    head = head.padEnd(Math.ceil((8 + head.length) / 8) * 8 - 8)
    const front = Buffer.alloc(8)
    front.write('EVC1')
    front.writeUInt32LE(head.length, 4)
    void route.fulfill({ contentType: 'application/vnd.evenstand.columns', body: Buffer.concat([front, Buffer.from(head), body]) })
  })
  await page.goto(base + '/ribbon?' + new URLSearchParams({ pass: long.key }))
  await page.waitForFunction(() => window.ribbon?.complete, null, { timeout: 120_000 })
  // Panning while they come and are painted, and then with all of them there.
  for (const [name, again] of [['while they are painted', true], ['painted', false]]) {
    const r = await page.evaluate(async (again) => {
      const v = window.ribbon, gaps = []
      if (again) v.fit(v.width)
      v.frames.length = 0
      v.from = 10
      let last = performance.now(), paints = 0
      for (let i = 0; i < 300; i++) {
        v.pan(i % 20 < 10 ? -14 : 14)
        await new Promise((r) => requestAnimationFrame(r))
        const n = performance.now()
        if (!v.complete) paints++
        gaps.push(n - last)
        last = n
      }
      return { draw: v.frames, gaps, paints }
    }, again)
    const of = (a) => [0.5, 0.95, 0.99].map((q) => `p${q * 100} ${quantile(a, q).toFixed(1)}`).join(', ')
    console.log(`a million marks in view, ${name} (${r.paints} of 300 frames): drawing a frame ${of(r.draw)} ms; from frame to frame ${of(r.gaps)} ms`)
  }
  await ctx.close()
}
await browser.close()
browser = await launch('--use-gl=angle', '--use-angle=swiftshader', '--enable-unsafe-swiftshader') // the ground draws with WebGL
const frames = (p) => p.evaluate(() => new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r))))
await timed('/ground', [
  ['ground of the season, until its first picture is there', (p) => p.locator('.field[data-pictured]').waitFor()], // it is marked behind its frame
  ['ground of the season, until the map has drawn', (p) => p.locator('.field[data-drawn]').waitFor({ timeout: 60_000 }).then(() => frames(p))],
])
const dist = resolve('dist')
const files = readdirSync(dist, { recursive: true }).filter((f) => /\.(js|mjs|css|html|svg|webmanifest|woff2)$/.test(f))
console.log(`page: ${(files.reduce((n, f) => n + gzipSync(readFileSync(join(dist, f)), { level: 9 }).length, 0) / 1e3).toFixed(0)} kB compressed, all screens`)
await browser.close()
p.kill('SIGINT')
