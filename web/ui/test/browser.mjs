// Drives the built program in Chromium as its users do, and fails on what they
// would stumble over: a step that does not work, an axe-core violation that is
// serious, a request that leaves this computer, an error in the console.
//
//	node test/browser.mjs PROGRAM [FOLDER FOR PICTURES]
import { chromium } from 'playwright-core'
import { AsyncLocalStorage } from 'node:async_hooks'
import { spawn } from 'node:child_process'
import { createRequire } from 'node:module'
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { networkInterfaces, tmpdir } from 'node:os'
import { join, resolve } from 'node:path'

const program = resolve(process.argv[2])
const pictures = process.argv[3] && resolve(process.argv[3])
const scenario = resolve('../../scenarios/demo.toml')
const browserPath = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'].find(existsSync)
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8')
const dir = mkdtempSync(join(tmpdir(), 'evenstand-browser-'))
if (pictures) mkdirSync(pictures, { recursive: true })

let failed = 0
const running = new AsyncLocalStorage() // the test that is running here: two are at once
const fail = (what, test = running.getStore()) => {
  failed++
  if (test) test.said.push('FAIL ' + what); else console.log('FAIL ' + what)
}
const check = (ok, what) => { if (!ok) fail(what) }
const run = (...args) => new Promise((ok, no) => {
  const p = spawn(program, args, { stdio: ['ignore', 'ignore', 'pipe'] })
  let err = ''
  p.stderr.on('data', (d) => { err += d })
  p.on('error', no)
  p.on('close', (c) => { if (c === 0) ok(); else no(new Error(`${args.join(' ')}: ${err}`)) })
})

// open starts the program on a logbook and gives its address.
async function open(book, listen = '127.0.0.1:0') {
  const p = spawn(program, ['open', book, '--no-browser', '--listen', listen], { stdio: ['ignore', 'pipe', 'pipe'] })
  const address = await new Promise((ok, no) => {
    let out = ''
    p.stdout.on('data', (d) => { out += d; const m = out.match(/http:\/\/[\d.:]+\//); if (m) ok(m[0].replace(/\/$/, '')) })
    p.on('exit', (c) => no(new Error(`open ended with ${c}: ${out}`)))
  })
  return { address, stop: () => new Promise((done) => { p.on('exit', done); p.kill('SIGINT') }) }
}

const flags = ['--no-sandbox', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync', '--use-gl=angle', '--use-angle=swiftshader', '--enable-unsafe-swiftshader']
const browser = await chromium.launch({ executablePath: browserPath, args: flags })

const sizes = { tablet: [1024, 768], desk: [1440, 900], phone: [390, 844] }

// page opens a page that minds what it loads and says. Of a header that holds
// only where the browser is on the same computer it complains on other screens.
async function page(address, { size = 'tablet', theme = 'light', dress = 'shop' } = {}) {
  const [width, height] = sizes[size]
  const ctx = await browser.newContext({ viewport: { width, height }, hasTouch: size === 'phone', reducedMotion: 'reduce', serviceWorkers: 'block' }) // what a worker fetches could not be altered by a test
  await ctx.addInitScript(([t, d]) => { localStorage.setItem('evenstand.theme', t); localStorage.setItem('evenstand.dress', d) }, [theme, dress])
  await ctx.addInitScript(() => { // how far it scrolled sideways at worst, also in a picture that stood for a moment only
    window.sideways = 0
    const look = () => { const d = document.documentElement; if (d) window.sideways = Math.max(window.sideways, d.scrollWidth - d.clientWidth); requestAnimationFrame(look) }
    look()
  })
  const p = await ctx.newPage()
  p.setDefaultTimeout(40_000)
  const test = running.getStore()
  p.on('request', (r) => { if (!r.url().startsWith(address) && !/^(data|blob):/.test(r.url())) fail('a request leaves: ' + r.url(), test) })
  p.on('pageerror', (e) => fail('the page broke: ' + e.message, test))
  p.on('console', (m) => { if (m.type() === 'error' && !/status of 4\d\d|Opener-Policy header has been ignored/.test(m.text())) fail('console: ' + m.text(), test) })
  return p
}

// looked fails on serious violations of axe and on sideways scrolling.
async function looked(p, name) {
  await p.evaluate(axe)
  const r = await p.evaluate(() => window.axe.run(document, { resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }))
  for (const v of r.violations.filter((v) => v.impact === 'serious' || v.impact === 'critical')) {
    fail(`${name}: ${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.target.join(' ') + ' ' + (n.any[0]?.message ?? '')).join(' | ')}`)
  }
  const over = await p.evaluate(() => Math.max(window.sideways, document.documentElement.scrollWidth - document.documentElement.clientWidth))
  check(over <= 0, `${name}: it scrolls sideways by ${over} px`)
  if (pictures) await p.screenshot({ path: join(pictures, name.replace(/\W+/g, '-') + '.png') })
}

const settled = async (p) => { await p.waitForSelector('h1'); await p.waitForLoadState('networkidle').catch(() => {}); await p.waitForTimeout(120) }
// Two pages at once, or most of the time is spent waiting: test is one on the first
// logbook, which they share and change, so that they stand in a row; apart has a logbook
// of its own and runs beside them; alone is timed, and runs when all the others are
// done. ONLY=journal runs what has it in its name.
const tests = [], others = [], timed = []
const into = (list) => (name, f) => { if (!process.env.ONLY || name.includes(process.env.ONLY)) list.push({ name, f, said: [] }) }
const test = into(tests), apart = into(others), alone = into(timed)

await run('simulate', scenario, join(dir, 'sim'))
const boxes = join(dir, 'sim', 'boxes')
await run('new', join(dir, 'book'), '--planter', join(dir, 'sim/card.toml'), '--field', join(dir, 'sim/fields/north-place.geojson'), '--field', join(dir, 'sim/fields/river-place.geojson'), '--zone', 'America/Chicago', '--price', '4.50/bu', '--yield', '190bu/ac', '--seed-price', '300/80000')
await run('read', join(dir, 'book'), boxes)
for (const copy of ['shown', 'said', 'checked', 'screens', 'counted']) cpSync(join(dir, 'book'), join(dir, copy), { recursive: true })
const main = await open(join(dir, 'book'))

apart('the first minute: files dropped into an empty logbook', async () => {
  const s = await open(join(dir, 'fresh'))
  const p = await page(s.address)
  const begun = Date.now()
  await p.goto(s.address)
  await p.getByRole('heading', { name: 'Bring the logs of a day.' }).waitFor()
  await looked(p, 'first minute, empty')
  await p.locator('input[webkitdirectory]').setInputFiles(boxes)
  const live = await p.evaluate(() => new Promise((done) => { // what the live regions say while it is read
    const said = []
    const look = () => { for (const e of document.querySelectorAll('[role=status], [aria-live]')) if (e.textContent && !said.includes(e.textContent)) said.push(e.textContent) }
    const o = new MutationObserver(() => { look(); if (document.querySelector('.item')) { o.disconnect(); done(said) } })
    o.observe(document.body, { subtree: true, childList: true, characterData: true })
  }))
  check(live.includes('A reading has begun.'), 'the begin of a reading is spoken: ' + live.join(' | '))
  check(live.length <= 8, 'nothing is spoken of how far it is: ' + live.join(' | '))
  await p.locator('.item').first().waitFor({ timeout: 90_000 })
  check((await p.locator('.item').count()) >= 1, 'the worklist of own files has findings')
  check(Date.now() - begun < 120_000, 'from start to the worklist in under two minutes')
  await p.goto(s.address + '/logbook')
  await p.getByText('grade A').first().waitFor()
  await looked(p, 'first minute, boxes')
  await p.context().close()
  await s.stop()
  await run('check', join(dir, 'fresh'))
})

apart('the first minute: what is refused says why, and what came of the rest is said', async () => {
  const s = await open(join(dir, 'refused'))
  const p = await page(s.address, { size: 'phone' })
  await p.goto(s.address)
  const bring = p.locator('input[type=file][multiple]').first()
  await bring.setInputFiles([{ name: 'photo.jpg', mimeType: 'image/jpeg', buffer: Buffer.from([255, 216, 255, 224, 0, 16, 74, 70]) }, { name: 'bill.pdf', mimeType: 'application/pdf', buffer: Buffer.from('%PDF-1.4\n') }])
  await p.getByRole('heading', { name: 'No worklist could be made of it' }).waitFor()
  await p.locator('li', { hasText: 'photo.jpg' }).waitFor()
  await p.locator('.said', { hasText: 'No file read, 2 left out.' }).waitFor()
  check(await p.getByText('The worklist appears by itself').count() === 0, 'what was promised is taken back')
  await looked(p, 'first minute, refused, phone')
  // The boxes without a card, and a photo again: the list, what came of it, and what was left out.
  await p.locator('input[webkitdirectory]').setInputFiles(boxes)
  await p.locator('.item').first().waitFor({ timeout: 90_000 })
  await p.locator('.said', { hasText: /\d+ files read, none left out/ }).waitFor()
  await bring.waitFor({ state: 'detached' })
  await p.goto(s.address + '/bring')
  await p.locator('input[type=file][multiple]').first().setInputFiles({ name: 'photo2.jpg', mimeType: 'image/jpeg', buffer: Buffer.from([255, 216, 255, 224, 0, 17]) })
  await p.getByRole('heading', { name: 'Not used' }).waitFor()
  await p.goto(s.address)
  await p.locator('.item').first().waitFor()
  check(await p.getByText('was not used').count() === 0, 'what was seen is not told again')
  // What misses to price it has links, and no file is named.
  await p.locator('.item a').first().click()
  await p.getByRole('heading', { name: 'Money' }).waitFor()
  await p.getByRole('link', { name: /Enter it|Planter card/ }).first().waitFor()
  check(!/BOOK\/|\.toml|evenstand rebuild/.test(await p.locator('main').innerText()), 'no file and no command is named')
  await looked(p, 'finding, needs, phone')
  // The planter is confirmed: the list says that it is made again.
  await p.goto(s.address + '/logbook/planter')
  if (await p.getByRole('button', { name: 'Yes', exact: true }).count() > 0) {
    await p.getByText('as the logs say; not confirmed').first().waitFor()
    await looked(p, 'planter, not confirmed, phone')
    await p.goto(s.address)
    await p.locator('.item').first().waitFor()
    await p.getByRole('button', { name: 'Yes', exact: true }).click()
    await p.locator('.notice.again').waitFor()
    await looked(p, 'days made again, phone')
    await p.locator('.notice.again').waitFor({ state: 'detached', timeout: 60_000 })
    check(await p.locator('.item').count() > 0, 'the new list is there')
  } else fail('nothing is asked about the planter')
  await p.context().close()
  await s.stop()
})

apart('a table of own headers: explained, read, and in the logbook', async () => {
  const s = await open(join(dir, 'tables'))
  const p = await page(s.address, { size: 'phone' })
  await p.goto(s.address)
  const rows = [1, 2, 3, 4]
  const lines = ['time;' + rows.map((r) => `Reihe ${r} Fehlstellen [%]`).join(';') + ';Schardruck;Motor']
  for (let i = 0; i < 40; i++) lines.push(`02.05.2026 14:05:${String(i).padStart(2, '0')};` + rows.map((r) => `${r},${i % 10}`).join(';') + `;96,${i % 10};7`)
  await p.locator('input[type=file][multiple]').first().setInputFiles({ name: 'Monitor.csv', mimeType: 'text/csv', buffer: Buffer.from(lines.join('\n') + '\n') })
  await p.getByText('One table that nobody has explained yet').waitFor()
  await looked(p, 'table, waiting, phone')
  await p.getByRole('link', { name: 'Explain it' }).click()
  await p.getByRole('heading', { level: 1, name: 'What is in Monitor.csv?' }).waitFor()
  await p.getByRole('heading', { name: '3 things are open' }).waitFor()
  await looked(p, 'table, open, phone')
  const keepIt = p.getByRole('button', { name: 'Keep and read it' })
  check(await keepIt.isDisabled(), 'nothing is kept while something is open')
  // By keys alone: the first question, then on from the count of what is open.
  await p.getByRole('button', { name: 'UTC', exact: true }).focus()
  await p.keyboard.press('Enter')
  await p.getByRole('heading', { name: '2 things are open' }).waitFor()
  await p.keyboard.press('Tab')
  check(await p.evaluate(() => document.activeElement.closest('.question') !== null), 'the next question is reached by Tab')
  await p.getByRole('button', { name: /gauge-wheel load, in kgf/ }).click()
  await p.getByRole('button', { name: /from the left/ }).click()
  await p.getByRole('heading', { name: 'Nothing is open' }).waitFor()
  await p.locator('.preview', { hasText: /row 3,? skips 3 ?%/ }).waitFor()
  await p.locator('.preview', { hasText: 'gauge-wheel load' }).waitFor()
  // A column is taken for something else, without its unit, and back.
  const motor = p.getByLabel('What Motor is')
  await motor.selectOption('vacuum')
  await p.getByLabel('In which unit Motor is').selectOption({ label: 'mbar' })
  await p.locator('.preview', { hasText: 'vacuum 7 mbar' }).waitFor()
  await motor.selectOption('none')
  await p.locator('.preview', { hasText: 'vacuum' }).waitFor({ state: 'detached' })
  await p.getByLabel('What do you call the box').fill('row monitor')
  await looked(p, 'table, ready, phone')
  await keepIt.click()
  await p.getByText(/Kept\. Tables of row monitor/).waitFor()
  await p.goto(s.address + '/logbook')
  await p.getByRole('heading', { name: /row monitor · grade B/ }).waitFor()
  await p.getByRole('link', { name: 'Recipes' }).click()
  await p.getByRole('heading', { name: /row monitor/ }).waitFor()
  await looked(p, 'recipes, phone')
  const [file] = await Promise.all([p.waitForEvent('download'), p.getByRole('link', { name: 'Download' }).click()])
  check(file.suggestedFilename() === 'row-monitor.toml', 'the recipe is a file')
  await p.getByRole('button', { name: 'Forget' }).click()
  await p.getByText('No recipe yet.').waitFor()
  await p.getByRole('button', { name: 'Undo' }).click()
  await p.getByRole('heading', { name: /row monitor/ }).waitFor()
  await p.context().close()
  await s.stop()
  await run('check', join(dir, 'tables'))
})

test('worklist, finding, ribbon and back', async () => {
  const p = await page(main.address)
  await p.goto(main.address)
  const first = p.locator('.item a').first()
  const sentence = await first.textContent()
  await first.click()
  await p.getByRole('heading', { level: 1, name: sentence }).waitFor()
  await p.locator('svg[role=img]').first().waitFor() // the evidence is drawn
  await p.getByRole('button', { name: 'See it on the ribbon' }).click()
  await p.locator('.ribbon canvas').waitFor()
  check(p.url().includes('/ribbon?'), 'the ribbon has a link')
  await p.waitForTimeout(600)
  await p.getByRole('link', { name: sentence }).click()
  await p.getByRole('heading', { level: 1, name: sentence }).waitFor()
  await p.goBack(); await p.goBack(); await p.goBack()
  await p.locator('.item').first().waitFor()
  await p.context().close()
})

test('from the money of a finding to the relation that it rests on', async () => {
  const p = await page(main.address)
  const all = (await (await fetch(main.address + '/api/v1/worklist')).json()).groups.flatMap((g) => g.findings)
  const f = all.find((f) => f.words.cites.length > 0)
  const { id, title } = f.words.cites.at(-1)
  await p.goto(main.address + '/finding/' + f.id)
  await p.getByText('Where the figures come from').click()
  await p.getByRole('link', { name: title, exact: true }).first().click()
  await p.locator(`section[id="${id}"] details[open]`).waitFor()
  check(new URL(p.url()).hash === '#' + id, 'the relation is in the address')
  const seen = () => p.evaluate((id) => { const r = document.getElementById(id).getBoundingClientRect(); return r.top >= 0 && r.top < innerHeight / 2 }, id)
  check(await seen(), 'the relation is in view')
  check(await p.evaluate((id) => document.activeElement.closest('section')?.id === id, id), 'the relation has the focus')
  await p.reload()
  await p.locator(`section[id="${id}"] details[open]`).waitFor()
  check(await seen(), 'the link leads there by itself')
  await p.goto(main.address + '/%E0%A4')
  await p.getByRole('heading', { name: 'There is no such screen.' }).waitFor()
  await p.context().close()
})

test('a finding is done and that is taken back', async () => {
  const p = await page(main.address)
  await p.goto(main.address)
  await p.locator('.item').first().waitFor()
  const n = await p.locator('.item').count()
  await p.locator('.item a').first().click()
  await p.getByRole('button', { name: 'Done', exact: true }).click()
  await p.getByText(/: recorded as done at /).waitFor()
  await p.getByRole('button', { name: 'Undo' }).click()
  await p.getByRole('button', { name: 'Done', exact: true }).waitFor()
  await p.getByRole('button', { name: 'It was something else' }).click()
  await p.getByLabel('What was it?').fill('a bent bracket')
  await p.getByRole('button', { name: 'Done, it was this' }).click()
  await p.getByText(/it was a bent bracket/).waitFor()
  await p.getByRole('button', { name: 'Not done after all' }).click()
  await p.getByRole('button', { name: 'Done', exact: true }).waitFor()
  await p.goto(main.address)
  await p.locator('.item').first().waitFor()
  check((await p.locator('.item').count()) === n, 'all is listed as before')
  await p.context().close()
})

apart('what was done is checked back, and what did not work stands on the list again', async () => {
  const s = await open(join(dir, 'checked'))
  const p = await page(s.address)
  const all = (await (await fetch(s.address + '/api/v1/worklist?all=true')).json()).groups.flatMap((g) => g.findings)
  const local = (t) => new Date(t).toLocaleString('sv-SE', { timeZone: 'America/Chicago' }).slice(0, 16)
  const later = (f, min) => local(Date.parse(f.since) + min * 60_000)
  const cell = all.find((f) => f.family === 'cell' && f.stage === 'raised' && f.until === null) ?? all.find((f) => f.kind === 'row-skips' && f.until === null)
  await p.goto(s.address + '/finding/' + cell.id)
  await p.getByRole('button', { name: 'Done earlier' }).click()
  await p.getByLabel('When was it done?').fill(later(cell, 25))
  await p.getByRole('button', { name: 'It was done then' }).click()
  await p.getByRole('heading', { level: 1, name: /^Did not work: / }).waitFor()
  await p.getByRole('heading', { name: 'Check-back' }).waitFor()
  await p.locator('figure', { hasText: 'Past the dashed line' }).getByText('As a table').click()
  await p.getByRole('region', { name: /since it was done/ }).waitFor()
  await looked(p, 'finding, check-back')
  await p.goto(s.address + '/')
  await p.locator('.item', { hasText: 'Did not work: ' }).first().waitFor()
  for (const [dress, theme, size] of [['shop', 'light', 'desk'], ['shop', 'dark', 'phone'], ['cab', 'black', 'tablet']]) {
    const c = await page(s.address, { dress, theme, size })
    await c.goto(s.address + '/changed')
    await c.locator('.item', { hasText: 'Did not work: ' }).first().waitFor()
    if (dress === 'shop') await c.getByText('How it went').first().click()
    await looked(c, `check-back, ${dress}, ${theme}`)
    await c.context().close()
  }
  await p.goto(s.address + '/finding/' + cell.id)
  await p.getByRole('button', { name: 'Not done after all' }).click()
  await p.getByRole('heading', { name: 'Check-back' }).waitFor({ state: 'detached' })
  await p.context().close()
  await s.stop()
})

// keep presses the button and waits for the program's answer.
async function keep(p, name) {
  const answered = p.waitForResponse((r) => r.request().method() === 'PATCH')
  await p.getByRole('button', { name, exact: true }).click()
  check((await answered).ok(), 'the settings are kept')
}

test('a new price, and both unit systems', async () => {
  const p = await page(main.address)
  await p.goto(main.address)
  await p.locator('.item').first().waitFor()
  const before = (await p.locator('.item .money').allTextContents()).join()
  await p.goto(main.address + '/logbook/prices')
  await p.getByLabel('What grain brings').fill('9.00')
  await keep(p, 'Keep the prices')
  await p.goto(main.address)
  await p.locator('.item').first().waitFor()
  check((await p.locator('.item .money').allTextContents()).join() !== before, 'twice the price changes what is still to save')
  await p.goto(main.address + '/logbook/prices')
  await p.getByLabel('What grain brings').fill('nonsense')
  await p.getByRole('button', { name: 'Keep the prices' }).click()
  await p.getByRole('alert').waitFor()
  await p.getByLabel('What grain brings').fill('4.50/bu')
  await keep(p, 'Keep the prices')
  await p.waitForFunction(() => document.querySelector('.beside input')?.value === '4.50') // the bushel stands beside the box
  await p.getByLabel('ground speed at most, mph').fill('3')
  await keep(p, 'Keep the limits')
  await p.getByRole('link', { name: /beyond it on .* of the way/ }).click()
  await p.getByText('Dashed: your limit, at most 3 mph').waitFor()
  await p.goto(main.address + '/logbook/prices')
  await p.getByLabel('Units').selectOption('metric')
  await keep(p, 'Keep')
  await p.goto(main.address)
  await p.locator('.state', { hasText: /^\d\d:\d\d/ }).waitFor()
  await looked(p, 'worklist, metric')
  await p.goto(main.address + '/more')
  await p.getByRole('button', { name: 'US customary' }).click()
  await p.locator('.state', { hasText: /[ap]m/ }).waitFor()
  await p.context().close()
})

test('what is typed in one form outlasts that another is kept', async () => {
  const p = await page(main.address)
  await p.goto(main.address + '/logbook/prices')
  const grain = p.getByLabel('What grain brings'), speed = p.getByLabel('ground speed at least, mph'), name = p.getByLabel('Name of the logbook')
  const was = await grain.inputValue()
  await speed.fill('2')
  await name.fill('another name')
  await grain.fill('5.25')
  await p.getByRole('button', { name: 'Keep the prices' }).focus()
  const anew = p.waitForResponse((r) => r.request().method() === 'GET' && r.url().endsWith('/settings'))
  const answered = p.waitForResponse((r) => r.request().method() === 'PATCH')
  await p.keyboard.press('Enter')
  check((await answered).ok(), 'the price is kept')
  await anew
  await p.getByRole('button', { name: 'As it was' }).nth(2).waitFor({ state: 'detached' })
  check((await grain.inputValue()) === '5.25' && (await speed.inputValue()) === '2' && (await name.inputValue()) === 'another name', 'nothing that was typed is lost')
  check(await p.evaluate(() => document.activeElement.textContent) === 'Keep the prices', 'the button keeps the focus')
  check((await p.getByRole('button', { name: 'As it was' }).count()) === 2, 'the other two are still to keep')
  await looked(p, 'prices, two to keep')
  let more = 0
  p.on('request', (r) => { if (r.method() === 'PATCH') more++ })
  await p.keyboard.press('Enter')
  await p.waitForTimeout(200)
  check(more === 0, 'nothing changed is nothing to keep')
  await grain.fill('5.250/bu') // said otherwise, the same
  await keep(p, 'Keep the prices')
  await p.waitForFunction(() => document.querySelector('.beside input')?.value === '5.25')
  await p.getByRole('button', { name: 'As it was' }).last().click()
  check((await name.inputValue()) !== 'another name', 'and one goes back alone')
  check((await speed.inputValue()) === '2', 'without the other')
  await grain.fill(was)
  await keep(p, 'Keep the prices')
  await p.context().close()
})

test('the journal: written with the keys for gloves, and taken back', async () => {
  const p = await page(main.address, { dress: 'cab', theme: 'dark' })
  await p.goto(main.address)
  await p.getByRole('link', { name: 'Changed' }).click()
  await p.getByRole('link', { name: 'Write down what you change' }).click()
  await p.getByRole('button', { name: 'Cleaners' }).click()
  for (const k of ['2', '2']) await p.locator('.pad').getByRole('button', { name: k, exact: true }).click()
  await p.getByText(/22 psi/).waitFor()
  await looked(p, 'journal, cleaners, cab')
  await p.getByRole('button', { name: 'Write it down' }).click()
  await p.locator('.note', { hasText: '22 psi' }).waitFor()
  await p.goto(main.address + '/changed') // what was only set is listed, with what followed
  await p.getByRole('region', { name: 'Set or moved' }).locator('.item', { hasText: '22 psi' }).getByText('Nothing is planted since').waitFor()
  await p.goto(main.address + '/journal')
  await p.locator('.note', { hasText: '22 psi' }).waitFor()
  await p.getByRole('button', { name: /^Undo: .*22 psi/ }).first().click()
  await p.locator('.note', { hasText: '22 psi' }).waitFor({ state: 'detached' })
  await p.getByRole('button', { name: /Day before: May 2/ }).click()
  await p.locator('.note', { hasText: 'Seed boxes filled' }).first().waitFor()
  await p.getByRole('group', { name: 'Whose' }).getByRole('button', { name: /Boxes/ }).click()
  await p.locator('.note', { hasText: 'from a journal that came with the logs' }).first().waitFor()
  await looked(p, 'journal, boxes, cab')
  await p.getByRole('group', { name: 'Whose' }).getByRole('button', { name: /Mine/ }).click()
  await p.getByText('Nobody wrote anything down that day.').waitFor()
  await p.getByRole('button', { name: 'Down force' }).click() // of an earlier day its times are offered
  await p.getByRole('group', { name: 'When' }).getByRole('button', { name: /^longest stop, / }).waitFor()
  const [mode, rows] = [await p.getByRole('group', { name: 'Mode' }).boundingBox(), await p.getByRole('group', { name: 'Rows' }).boundingBox()]
  check(rows.y - mode.y - mode.height >= 8, 'the rows of buttons do not touch')
  await p.context().close()
})

test('a note is corrected by a tap, with what it said before', async () => {
  const p = await page(main.address, { dress: 'cab', theme: 'black' })
  await p.goto(main.address + '/journal')
  await p.getByRole('button', { name: 'Down force' }).click()
  await p.getByRole('group', { name: 'Mode' }).getByRole('button', { name: 'fixed' }).click()
  await p.getByText(/Down-force mode set to fixed/).waitFor()
  await p.getByRole('button', { name: 'Write it down' }).click()
  await p.locator('.note', { hasText: 'Down-force mode set to fixed' }).waitFor()
  await p.getByRole('button', { name: 'Closers' }).click()
  for (const k of ['4', '0']) await p.locator('.pad').getByRole('button', { name: k, exact: true }).click()
  await p.getByRole('button', { name: 'Write it down' }).click()
  await p.getByRole('button', { name: /Correct: Closing-wheel pressure set to 40 psi/ }).click()
  for (const k of ['4', '5']) await p.locator('.pad').getByRole('button', { name: k, exact: true }).click()
  await p.getByRole('group', { name: 'Rows' }).getByRole('button', { name: 'left' }).click()
  await p.getByText(/set to 45 psi, rows 1-\d+\./).waitFor()
  await looked(p, 'journal, a note corrected, cab')
  await p.getByRole('button', { name: 'Put it right' }).click()
  await p.locator('.note', { hasText: '45 psi' }).filter({ hasText: 'corrected' }).waitFor()
  await p.getByRole('button', { name: /Correct: Closing-wheel pressure set to 45 psi/ }).click()
  await p.getByRole('button', { name: 'As it was (1)' }).click()
  await p.getByText('Closing-wheel pressure set to 40 psi, the whole planter').waitFor()
  await looked(p, 'journal, a note as it was, cab')
  await p.getByRole('button', { name: 'Take it back' }).click()
  await p.locator('.note', { hasText: '45 psi' }).waitFor({ state: 'detached' })
  await p.getByRole('button', { name: /Undo: Down-force mode/ }).click()
  await p.locator('.note', { hasText: 'Down-force mode' }).waitFor({ state: 'detached' })
  await p.getByRole('button', { name: /Day before: May 2/ }).click()
  await p.getByRole('group', { name: 'Of what' }).getByRole('button', { name: /Fills/ }).click()
  await p.locator('.note', { hasText: 'Seed boxes filled' }).first().waitFor()
  await p.context().close()
})

apart('a note in a logbook with two planters', async () => {
  const card = readFileSync(join(dir, 'sim/card.toml'), 'utf8')
  for (const name of ['Front', 'Rear']) writeFileSync(join(dir, name + '.toml'), card.replace(/^name = .*$/m, `name = "${name}"`))
  await run('new', join(dir, 'two'), '--planter', join(dir, 'Front.toml'), '--planter', join(dir, 'Rear.toml'), '--zone', 'America/Chicago')
  const s = await open(join(dir, 'two'))
  const p = await page(s.address, { size: 'phone' })
  await p.goto(s.address + '/journal')
  await p.getByRole('button', { name: 'Closers' }).click()
  check((await p.getByLabel('Planter').inputValue()) === 'Front', 'it begins with one of them')
  await p.getByLabel('Planter').selectOption('Rear')
  await p.getByLabel('Value').fill('30')
  await looked(p, 'journal, two planters, phone')
  await p.getByRole('button', { name: 'Write it down' }).click()
  await p.locator('.note', { hasText: '30 psi' }).filter({ hasText: 'by hand, Rear' }).waitFor()
  await p.context().close()
  await s.stop()
})

test('a start asks for everything once', async () => {
  const id = (await (await fetch(main.address + '/api/v1/worklist')).json()).groups[0].findings[0].id
  for (const path of ['/', '/finding/' + id, '/ribbon', '/ground', '/rows', '/journal', '/changed', '/balance', '/trial', '/handover', '/cost', '/walk', '/counts', '/replant', '/makeup', '/paper', '/give', '/logbook', '/logbook/planter', '/logbook/prices', '/logbook/recipes', '/logbook/relations', '/bring', '/more']) {
    const p = await page(main.address)
    const asked = {}
    p.on('request', (r) => { const at = r.url().slice(main.address.length); if (at.startsWith('/api/')) asked[at] = (asked[at] ?? 0) + 1 })
    await p.goto(main.address + path)
    await settled(p)
    await p.waitForTimeout(500)
    for (const [at, n] of Object.entries(asked)) check(n === 1, `${path} asks ${n} times for ${at}`)
    check((asked['/api/v1/book'] ?? 0) === 1, `${path} asks for the logbook`)
    await p.context().close()
  }
})

test('letter keys are switched off', async () => {
  const p = await page(main.address)
  await p.goto(main.address + '/more')
  await p.getByRole('group', { name: 'Letter keys' }).getByRole('button', { name: 'Off' }).click()
  await p.keyboard.press('j')
  await p.goto(main.address)
  await p.locator('.item').first().waitFor()
  await p.keyboard.press('r')
  await p.waitForTimeout(300)
  check(new URL(p.url()).pathname === '/', 'no letter leads to another screen')
  // On the map the buttons and arrows move, plus and minus do not.
  await p.goto(main.address + '/ground')
  await p.locator('.field[data-drawn]').waitFor()
  await p.locator('.maplibregl-canvas').focus()
  const at = () => new URL(p.url()).searchParams.get('at')
  for (const k of ['+', '=', '-']) await p.keyboard.press(k)
  await p.waitForTimeout(900)
  const still = at()
  await p.keyboard.press('+')
  await p.waitForTimeout(900)
  check(at() === still, 'plus does not zoom the map')
  await p.keyboard.press('ArrowUp')
  await p.waitForFunction((was) => new URLSearchParams(location.search).get('at') !== was, still)
  await p.goto(main.address + '/more')
  await p.getByRole('group', { name: 'Letter keys' }).getByRole('button', { name: 'On' }).click()
  await p.keyboard.press('j')
  await p.getByRole('heading', { name: 'What changed?' }).waitFor()
  await p.goto(main.address + '/ground')
  await p.locator('.field[data-drawn]').waitFor()
  await p.waitForTimeout(900)
  const before = at()
  await p.locator('.maplibregl-canvas').focus()
  await p.keyboard.press('+')
  await p.waitForFunction((was) => new URLSearchParams(location.search).get('at') !== was, before)
  await p.context().close()
})

test('the ground opens on one field where fields lie far apart, and all of them are a press away', async () => {
  const p = await page(main.address)
  const v = await (await fetch(main.address + '/api/v1/ground')).json()
  check(v.opens_on === v.findings[0].field, `it opens on the field of the head finding: ${v.opens_on}`)
  await p.goto(main.address + '/ground')
  await p.locator('.field[data-drawn]').waitFor()
  const wide = () => p.locator('.pin').first().evaluate((e) => e.style.getPropertyValue('--lead'))
  check(await wide() === '0px', 'on a field that is wide enough a mark stands at its place')
  await looked(p, 'ground, opened')
  const zoom = () => Number(new URL(p.url()).searchParams.get('at')?.split(',')[2])
  await p.waitForFunction(() => new URLSearchParams(location.search).has('at'))
  const near = zoom()
  await p.getByRole('button', { name: 'All fields' }).click()
  await p.waitForFunction((was) => Number(new URLSearchParams(location.search).get('at').split(',')[2]) < was - 1, near)
  check(await wide() !== '0px', 'and beside one that it would hide')
  await looked(p, 'ground, all fields')
  await p.context().close()
})

apart('a clock and a tank are said on the page, and the clock is taken back', async () => {
  const s = await open(join(dir, 'said'))
  const p = await page(s.address, { size: 'phone' })
  await p.goto(s.address + '/logbook')
  const box = p.locator('article.box', { hasText: 'seed monitor' })
  await box.getByText('Say how far its clock is off').click()
  await box.getByLabel('Off by').fill('soon')
  await box.getByRole('button', { name: 'Keep the clock' }).click()
  await box.getByRole('alert').waitFor()
  await box.getByLabel('Off by').fill('0,05')
  await box.getByLabel('Which way').selectOption('slow')
  await box.getByLabel('To within').fill('0.1')
  await looked(p, 'clock, phone')
  await box.getByRole('button', { name: 'Keep the clock' }).click()
  await p.getByText('Kept for this clock.').waitFor()
  await box.getByText('How far its clock is off, as you said').waitFor()
  const said = async () => (await (await fetch(s.address + '/api/v1/sources')).json()).sources.find((x) => x.name.startsWith('seed monitor')).clock
  check((await said()).said_offset_s === -0.05 && (await said()).said_error_s === 0.1, 'the clock is kept')
  await box.getByRole('button', { name: 'Take it back' }).click()
  await box.getByText('Say how far its clock is off').waitFor()
  check((await said()).said_offset_s === null, 'the clock is taken back')
  await p.goto(s.address + '/logbook/planter')
  await p.getByText('Add a tank or hopper').click()
  await p.getByLabel('What it holds').last().fill('10-34-0')
  await p.getByLabel('Full, it holds').last().fill('250')
  await looked(p, 'tank, phone')
  await p.getByRole('button', { name: 'Keep the tank' }).last().click()
  await p.getByText('10-34-0, 250 gal').waitFor()
  await p.context().close()
  await s.stop()
})

test('the focus goes where one goes', async () => {
  const p = await page(main.address)
  const on = () => p.evaluate(() => { const e = document.activeElement; return `${e.tagName} ${e.ariaLabel || e.textContent.trim()}` })
  const comes = (what) => p.waitForFunction((w) => { const e = document.activeElement; return `${e.tagName} ${e.ariaLabel || e.textContent.trim()}`.startsWith(w) }, what, { timeout: 15_000 }).catch(async () => fail(`the focus is on ${await on()}, not on ${what}`))
  await p.goto(main.address)
  await p.locator('.item').first().waitFor()
  check((await on()).startsWith('BODY'), 'the first screen leaves the focus alone')
  const nav = p.locator('nav.list')
  for (const [link, head] of [['Rows', 'H1 '], ['Ground', 'H1 '], ['Journal', 'H1 What changed?'], ['Logbook', 'H1 Logbook: '], ['How it looks', 'H1 How it looks here'], ['Worklist', 'H1 ']]) {
    await nav.getByRole('link', { name: link }).click()
    await p.waitForFunction((l) => document.title !== '' && document.querySelector('nav.list [aria-current]')?.textContent === l, link)
    await comes(head)
  }
  await p.goBack()
  await comes('H1 How it looks here')
  // Only the query changes: whoever has the focus keeps it.
  await nav.getByRole('link', { name: 'Rows' }).click()
  await comes('H1 ')
  await p.getByRole('button', { name: 'Worst first' }).focus()
  await p.keyboard.press('Enter')
  await p.waitForURL(/order=worst/)
  await p.waitForTimeout(200)
  check((await on()) === 'BUTTON Worst first', 'the query leaves the focus where it is')
  // The journal: to the form and back to the button.
  await p.keyboard.press('j')
  await comes('H1 What changed?')
  await p.getByRole('button', { name: 'Depth' }).focus()
  await p.keyboard.press('Enter')
  await comes('H2 Depth')
  await p.keyboard.press('Tab')
  check((await on()) === 'INPUT Value', 'Tab goes on to the value')
  await p.getByRole('button', { name: 'Back', exact: true }).focus()
  await p.keyboard.press('Enter')
  await comes('BUTTON Depth')
  await p.getByRole('button', { name: 'Fixed a row' }).click()
  await comes('INPUT ')
  // A finding: to the button that undoes it, and back.
  await p.goto(main.address)
  await p.locator('.item a').first().click()
  await comes('H1 ')
  await p.getByRole('button', { name: 'Done', exact: true }).focus()
  await p.keyboard.press('Enter')
  await comes('BUTTON Not done after all')
  await p.keyboard.press('Enter')
  await comes('BUTTON Done')
  await p.context().close()
})

test('by keyboard alone', async () => {
  const p = await page(main.address)
  await p.goto(main.address)
  await p.locator('.item').first().waitFor()
  await p.keyboard.press('Tab')
  check(await p.evaluate(() => document.activeElement.closest('header, .skip') !== null), 'Tab begins at the head')
  for (let i = 0; i < 40; i++) {
    await p.keyboard.press('Tab')
    if (await p.evaluate(() => document.activeElement.closest?.('.item') !== null)) break
  }
  check(await p.evaluate(() => document.activeElement.closest('.item') !== null), 'a finding is reached by Tab')
  await p.keyboard.press('Enter')
  await p.getByRole('button', { name: 'Done', exact: true }).waitFor()
  await p.keyboard.press('r')
  await p.locator('.ribbon').waitFor()
  await p.locator('.ribbon').focus()
  await p.waitForTimeout(500)
  const at = () => p.evaluate(() => [window.ribbon.from, window.ribbon.mpp, window.ribbon.row])
  const a = await at()
  await p.keyboard.press('+')
  const b = await at()
  check(b[1] < a[1], 'plus zooms in')
  await p.keyboard.press('Shift+ArrowRight')
  check((await at())[0] > b[0], 'shift and the arrow move on')
  await p.keyboard.press('ArrowRight')
  const line = await p.evaluate(() => window.ribbon.cursor.m)
  await p.locator('.tip', { hasText: /\d:\d\d:\d\d .* · .*speed/ }).waitFor()
  await p.keyboard.press('ArrowRight')
  check(await p.evaluate(() => window.ribbon.cursor.m) > line, 'the arrow moves the line on')
  await p.keyboard.press('ArrowDown')
  check((await at())[2] === 1, 'the arrow goes to a row')
  await p.keyboard.press('0')
  const seen = new Set()
  const step = async (key) => {
    await p.keyboard.press(key)
    await p.waitForFunction(() => window.ribbon.p.key === new URLSearchParams(location.search).get('pass'))
    await p.waitForTimeout(30)
    seen.add(await p.evaluate(() => window.ribbon.p.key))
    check(await p.evaluate(() => document.activeElement?.className === 'ribbon'), 'the ribbon keeps the keys from pass to pass')
    return p.locator('.tip').textContent()
  }
  const steps = (await (await fetch(main.address + '/api/v1/pass?' + new URLSearchParams({ pass: await p.evaluate(() => window.ribbon.p.key) }))).json()).steps.map((x) => x.finding)
  let says = ''
  for (let i = 0; i < 40 && !/first finding of the day/.test(says); i++) says = await step('p')
  check(/first finding of the day/.test(says), 'p goes back and says when there is none before')
  const met = [new URL(p.url()).searchParams.get('finding')]
  for (let i = 0; i < 40; i++) {
    if (/last finding of the day/.test(await step('n'))) break
    met.push(new URL(p.url()).searchParams.get('finding'))
  }
  check(steps.length > 1 && met.join() === steps.join(), `n goes from each finding to another, to the last: ${met}`)
  await p.keyboard.press('[')
  await p.waitForTimeout(500)
  await p.keyboard.press('w')
  await p.locator('.item').first().waitFor()
  await p.context().close()
})

alone('the ribbon: every seed, pointer, table, and how fast it moves', async () => {
  const p = await page(main.address)
  const passes = (await (await fetch(main.address + '/api/v1/passes')).json()).passes
  const pass = passes.find((x) => x.field === 'north place' && x.number === 26) ?? passes[30]
  await p.goto(main.address + '/ribbon?' + new URLSearchParams({ pass: pass.key, from: '100', to: '116', row: '7' }))
  await p.locator('.ribbon canvas').waitFor()
  await p.waitForTimeout(800)
  const box = await p.locator('.ribbon').boundingBox()
  await p.mouse.move(box.x + box.width / 2, box.y + 12 + 6.5 * await p.evaluate(() => window.ribbon.lane))
  await p.locator('.tip', { hasText: /row 7/ }).waitFor()
  await p.getByText('As a table').click()
  await p.getByRole('button', { name: 'Whole pass' }).click()
  await p.waitForTimeout(700)
  await p.getByRole('button', { name: 'Of the part that is shown now' }).click()
  await p.locator('details table tbody tr').first().waitFor()
  for (const [name, head] of [['What went wrong', /^row,time,place,what\r\n\d/], ['Along the pass', /^time,place,.*\r\n\d/]]) {
    const lines = (await p.getByRole('region', { name }).locator('tr').count())
    const [file] = await Promise.all([p.waitForEvent('download'), p.getByRole('button', { name: name + ', CSV' }).click()])
    const text = readFileSync(await file.path(), 'utf8')
    check(head.test(text) && text.trimEnd().split('\r\n').length === lines, `${name} is a file as it is a table: ${text.slice(0, 80)}`)
  }
  await looked(p, 'ribbon, table')
  const ms = await p.evaluate(async () => {
    const v = window.ribbon
    v.frames.length = 0
    for (let i = 0; i < 120; i++) { v.pan(i % 40 < 20 ? -14 : 14); await new Promise((r) => requestAnimationFrame(r)) }
    return [...v.frames].sort((a, b) => a - b)
  })
  console.log(`     ribbon: drawing a frame p50 ${ms[Math.floor(ms.length / 2)].toFixed(1)} ms, p95 ${ms[Math.floor(ms.length * 0.95)].toFixed(1)} ms`)
  check(ms[Math.floor(ms.length * 0.95)] < 40, 'a frame of panning is drawn in under 40 ms even here')
  await p.context().close()
})

test('the ground: finding, what is there, ribbon and back, a background', async () => {
  const p = await page(main.address)
  const tile = () => p.waitForResponse((r) => r.url().includes('/ground/tiles/') && r.ok())
  await p.goto(main.address)
  await p.locator('.item a').first().click()
  let came = tile()
  await p.getByRole('button', { name: 'See it on the ground' }).click()
  await came
  check(p.url().includes('/ground?') && p.url().includes('finding='), 'the finding on the ground has a link')
  await p.locator('.pin[aria-pressed=true]').waitFor()
  await p.getByRole('link', { name: 'To the finding' }).waitFor()
  // Until the map is there a picture stands in its place; the map takes it away.
  let go
  const held = new Promise((done) => { go = done })
  await p.route('**/assets/engine-*.js', async (r) => { await held; await r.continue() })
  await p.goto(main.address + '/ground')
  await p.locator('.field[data-pictured]:not([data-drawn])').waitFor()
  const inked = await p.locator('.coming canvas').evaluate((c) => c.getContext('2d').getImageData(0, 0, c.width, c.height).data.filter((v, i) => i % 4 === 3 && v > 0).length)
  check(inked > 1000, `the first picture of the ground has ${inked} pixels of it`)
  await looked(p, 'ground, its first picture')
  go()
  await p.locator('.field[data-drawn]').waitFor()
  check(await p.locator('.coming').count() === 0, 'the picture goes when the map has drawn')
  await p.unroute('**/assets/engine-*.js')
  const pass = (await (await fetch(main.address + '/api/v1/ground')).json()).passes.features[20].geometry.coordinates
  const mid = [0, 1].map((i) => (pass[0][i] + pass[1][i]) / 2)
  came = tile()
  await p.goto(main.address + `/ground?measure=skips&at=${mid[1]},${mid[0]},17`)
  await came
  await p.locator('.field[data-drawn]').waitFor() // what is not seen takes no focus
  await p.locator('.maplibregl-canvas').focus()
  await p.keyboard.press('Enter')
  await p.locator('.at', { hasText: /Row \d+, pass \d+/ }).waitFor()
  await looked(p, 'ground, a place')
  check((await p.locator('main :is([role=status], [aria-live]) :is(button, a)').count()) === 0, 'what is spoken of a place holds no buttons')
  const at = new URL(p.url()).searchParams.get('at')
  await p.keyboard.press('+')
  await p.waitForFunction((was) => new URLSearchParams(location.search).get('at') !== was, at)
  await p.getByRole('button', { name: 'See it on the ribbon' }).click()
  await p.locator('.ribbon canvas').waitFor()
  check(/row=\d+/.test(p.url()) && /from=/.test(p.url()), 'the ribbon opens there')
  await p.goBack()
  await p.locator('.at', { hasText: /Row \d+/ }).waitFor()
  came = tile()
  await p.getByLabel('Quantity').selectOption('population')
  await came
  await p.getByRole('heading', { level: 1, name: /Seeds planted/ }).waitFor()
  await p.getByRole('button', { name: 'As a table' }).click()
  await p.locator('table tbody tr').nth(2).waitFor()
  await p.locator('input[type=file]').setInputFiles(join(dir, 'sim/card.toml'))
  await p.getByRole('alert').filter({ hasText: 'not a PMTiles file' }).waitFor()
  await p.context().close()
})

test('ground that was not planted: from the worklist to the piece, touched', async () => {
  const left = (await (await fetch(main.address + '/api/v1/worklist')).json()).groups.flatMap((g) => g.findings).find((f) => f.kind === 'unplanted-left')
  const p = await page(main.address)
  await p.goto(main.address)
  await p.locator('.item a', { hasText: left.sentence.slice(0, 40) }).click()
  await p.locator('.fieldview svg').waitFor()
  check(await p.locator('.fieldview path.patch.left').count() > 1, 'the finding draws what was not planted')
  check(await p.getByText('through the day').count() === 0, 'and no course of a measure that says nothing')
  check(await p.getByRole('button', { name: 'Compare the rows' }).count() === 0, 'and leads to no rows')
  await p.getByText('As a table').first().click()
  await p.getByRole('table').filter({ hasText: 'not planted' }).locator('tbody tr').first().waitFor()
  await looked(p, 'finding, not planted')
  await p.getByRole('button', { name: 'See it on the ground' }).click()
  await p.locator('.field[data-drawn]').waitFor()
  const button = (name) => p.getByRole('button', { name, exact: true })
  const on = async (name) => await button(name).getAttribute('aria-pressed') === 'true'
  check(await on('Not planted') && !(await on('Planted twice')), 'what shows the finding is switched on by itself, and no more')
  await p.locator('.pieces', { hasText: / in \d+ pieces/ }).waitFor()
  await p.waitForTimeout(600)
  await looked(p, 'ground, not planted')
  // The map shows the piece, and touching it says its size.
  const { findings } = await (await fetch(main.address + '/api/v1/ground?finding=' + left.id)).json()
  const f = findings.find((f) => f.id === left.id)
  const of = (await (await fetch(main.address + '/api/v1/ground/patches?kind=left')).json()).features.find((x) => x.properties.id === f.patch).properties
  await p.goto(main.address + `/ground?finding=${left.id}&field=${encodeURIComponent(left.field)}&at=${f.lat},${f.lon},17.5`)
  await p.locator('.field[data-drawn]').waitFor()
  await p.locator('.pieces', { hasText: /pieces/ }).waitFor()
  await p.waitForTimeout(600)
  await p.locator('.maplibregl-canvas').focus()
  await p.keyboard.press('Enter')
  await p.locator('[role=status] b', { hasText: of.says }).waitFor()
  check(await on('Not planted') && /[?&]patch=left-/.test(p.url()) && /[?&]left=1/.test(p.url()), 'the piece and what is drawn are in the address: ' + p.url())
  await looked(p, 'ground, a piece')
  await p.reload()
  await p.locator('[role=status] b', { hasText: of.says }).waitFor()
  check(await on('Not planted'), 'the link keeps it')
  await button('Close').click()
  await p.locator('[role=status] b', { hasText: of.says }).waitFor({ state: 'detached' })
  await button('Not planted').click()
  check(!(await on('Not planted')) && await p.locator('.pieces').count() === 0, 'it is switched off')
  await button('Planted twice').click()
  await p.locator('.pieces', { hasText: /Planted twice: / }).waitFor()
  await p.locator('.lies[aria-label^="Planted twice"] button, .pieces').first().waitFor()
  await p.context().close()
  // A finger on the phone.
  const q = await page(main.address, { size: 'phone', theme: 'black' })
  await q.goto(main.address + `/ground?left=1&measure=speed&at=${f.lat},${f.lon},17.5`)
  await q.locator('.field[data-drawn]').waitFor()
  await q.locator('.pieces', { hasText: /pieces/ }).waitFor()
  await q.waitForTimeout(600)
  const box = await q.locator('.maplibregl-canvas').boundingBox()
  const pin = await q.locator('.pin').evaluateAll((ps) => ps.map((e) => { const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2] }))
  const at = [box.x + box.width / 2, box.y + box.height / 2]
  if (pin.some(([x, y]) => Math.hypot(x - at[0], y - at[1]) < 30)) await q.evaluate(() => document.querySelectorAll('.pin').forEach((e) => { e.style.pointerEvents = 'none' })) // the mark stands on it
  await q.touchscreen.tap(...at)
  await q.locator('[role=status] b', { hasText: of.says }).waitFor()
  await looked(q, 'ground, a piece, phone')
  await q.context().close()
})

test('what was planted: by field and day, as a table and a file, in the cab and on paper', async () => {
  const p = await page(main.address, { size: 'phone' })
  await p.goto(main.address + '/ground')
  const planted = p.getByRole('region', { name: 'What was planted', exact: true })
  await planted.getByRole('row', { name: /river place .*\d+ ac of \d+ ac/ }).waitFor()
  check(await planted.getByRole('row', { name: /May 2, 2026 seed \d+ ac/ }).count() === 2, 'the acres of both fields on their day')
  await planted.scrollIntoViewIfNeeded()
  await looked(p, 'what was planted, phone')
  const [file] = await Promise.all([p.waitForEvent('download'), planted.getByRole('link', { name: 'What was planted, CSV' }).click()])
  const lines = readFileSync(await file.path(), 'utf8').trim().split('\n')
  check(file.suggestedFilename() === 'planted.csv' && lines[0].startsWith('field,what,day,planter,lot,area (ac)') && lines.some((l) => /^river place,seed,2026-05-02/.test(l)), 'the file: ' + lines.slice(0, 3).join(' / '))
  await p.getByRole('combobox', { name: 'Field' }).selectOption('north place')
  await planted.getByRole('row', { name: /river place/ }).first().waitFor({ state: 'detached' })
  check(await planted.getByRole('row', { name: /north place/ }).count() === 2 && await planted.getByRole('row', { name: /^all/ }).count() === 0, 'of one field only that')
  await p.emulateMedia({ media: 'print' })
  check(await planted.isVisible() && !(await planted.getByRole('link').isVisible()), 'it is on paper, without buttons')
  await p.context().close()
  for (const [theme, dress, size] of [['dark', 'shop', 'desk'], ['light', 'cab', 'tablet'], ['black', 'cab', 'tablet']]) {
    const c = await page(main.address, { theme, dress, size })
    await c.goto(main.address + '/ground?left=1&twice=1&field=river+place')
    await c.locator('.field[data-drawn]').waitFor()
    await c.locator('.pieces', { hasText: /Planted twice: / }).waitFor()
    await c.getByRole('region', { name: 'What was planted', exact: true }).waitFor()
    await looked(c, `ground, both, ${theme}, ${dress}`)
    await c.context().close()
  }
})

apart('a row trial: which rows, by how much, what it costs, and a plan', async () => {
  const script = readFileSync(resolve('../../cli/testdata/script/trial.txtar'), 'utf8')
  writeFileSync(join(dir, 'trial.toml'), script.slice(script.indexOf('-- day.toml --\n') + 15))
  await run('simulate', join(dir, 'trial.toml'), join(dir, 'before'), '--seed', '7821', '--date', '2026-04-28')
  await run('simulate', join(dir, 'trial.toml'), join(dir, 'fitted'), '--seed', '7822', '--date', '2026-04-30')
  await run('new', join(dir, 'tried'), '--planter', join(dir, 'fitted/card.toml'), '--field', join(dir, 'fitted/fields/home-place.geojson'), '--zone', 'America/Chicago', '--price', '4.50/bu', '--yield', '190bu/ac', '--seed-price', '300/80000')
  await run('read', join(dir, 'tried'), join(dir, 'before/boxes'), join(dir, 'fitted/boxes'))
  const s = await open(join(dir, 'tried'))
  const p = await page(s.address)
  await p.goto(s.address)
  await p.getByRole('navigation', { name: 'Screens' }).getByRole('link', { name: 'Row trial' }).click()
  await p.getByRole('heading', { level: 1, name: '2 row trials.' }).waitFor()
  await p.getByText('One row cannot tell the part from the row').waitFor()
  await looked(p, 'row trials')
  await p.getByRole('link', { name: /^Row cleaner: floating, rows 3 and 8/ }).click()
  await p.getByRole('heading', { level: 1, name: /less trash in the slot/ }).waitFor()
  await p.getByRole('img', { name: /Rows of the planter: April 28.*rows 3 and 8 with it/ }).waitFor()
  const much = p.getByRole('region', { name: 'Difference by measure' })
  await much.getByText('As a table').click()
  check(await much.getByRole('row', { name: /^trash in the slot .* better$/ }).count() === 1, 'the difference as a table')
  const rows = p.getByRole('region', { name: 'Row by row' })
  check(await rows.locator('figure svg').count() === 2, 'each row before and after')
  const [file] = await Promise.all([p.waitForEvent('download'), rows.getByRole('link', { name: 'CSV' }).click()])
  check(readFileSync(await file.path(), 'utf8').startsWith('row,class,period,'), 'the rows as a file')
  await rows.getByRole('combobox', { name: 'Measure' }).selectOption('moisture')
  await rows.getByRole('img', { name: /^seed-zone moisture/ }).first().waitFor()
  const worth = p.getByRole('region', { name: 'What it is worth' })
  await worth.getByRole('textbox', { name: 'Price on one row' }).fill('x')
  await worth.getByRole('button', { name: 'Keep' }).click()
  await worth.getByRole('alert').waitFor()
  await worth.getByRole('textbox', { name: 'Price on one row' }).fill('150')
  await worth.getByRole('textbox', { name: 'Seasons that it lasts' }).fill('5')
  await worth.getByRole('button', { name: 'Keep' }).click()
  await worth.getByText('For all 10 rows it costs $1,500').waitFor()
  await p.getByRole('button', { name: 'Undo' }).click()
  await worth.getByText('For all 10 rows').waitFor({ state: 'detached' })
  const plan = p.getByRole('region', { name: 'Plan a trial' })
  await plan.getByText(/Put floating on rows .* passes/).first().waitFor()
  const first = await plan.locator('.plans li').first().textContent()
  await plan.getByRole('button', { name: 'Draw the rows again' }).click()
  await plan.getByText('at random (draw 2)').waitFor()
  check(first.includes('four such trials of five'), 'a plan says what it will see')
  await looked(p, 'row trial')
  await p.context().close()
  for (const [theme, size] of [['dark', 'desk'], ['black', 'phone'], ['light', 'phone']]) {
    const c = await page(s.address, { theme, size })
    for (const path of ['/trial', '/trial/row-cleaner-floating', '/trial/seed-firmer-long']) {
      await c.goto(s.address + path)
      await settled(c)
      await looked(c, `row trial ${path}, ${theme}, ${size}`)
    }
    await c.context().close()
  }
  await s.stop()
})

apart('the cost sheet: from a part to the finding behind it, and to what it rests on', async () => {
  const p = await page((await shown()).address, { size: 'phone' })
  await p.goto((await shown()).address + '/cost')
  const winter = p.getByRole('region', { name: 'For the winter' })
  await winter.locator('summary').first().click()
  await looked(p, 'cost sheet, opened, phone')
  check(/\$\d/.test(await winter.locator('summary .sum').first().innerText()), 'a part has a sum')
  // The way it is parted is in the address, and every way has the same total.
  const sums = []
  for (const by of ['cause', 'part', 'row', 'field', 'day']) {
    await p.locator('select', { hasText: 'cause' }).selectOption(by)
    await p.waitForFunction((by) => location.search.includes('by=' + by), by)
    const way = p.locator(`section[aria-label="By ${by}"]`)
    await way.waitFor()
    sums.push((await way.locator('summary .sum').allInnerTexts()).map((t) => Number(t.split('\n')[0].replace(/[^\d.]/g, ''))).reduce((a, b) => a + b, 0))
  }
  check(new Set(sums).size === 1, 'every way adds up to the same: ' + sums.join(', '))
  await winter.locator('details[open] a', { hasText: /Row/ }).first().click()
  await p.getByRole('heading', { name: 'Money' }).waitFor()
  await p.context().close()
})

apart('a thin stand is weighed, by zone and by table', async () => {
  const p = await page((await shown()).address, { size: 'phone' })
  await p.goto((await shown()).address + '/replant')
  await p.getByLabel('Planted', { exact: false }).first().fill('2026-04-30')
  await p.getByLabel('Would be planted again').fill('2026-05-20')
  await p.getByLabel('Plants counted').fill('12,000')
  await p.getByLabel('Seed', { exact: true }).fill('10')
  await p.getByRole('button', { name: 'Weigh it' }).click()
  await p.getByText('start over. That gains').waitFor()
  // NAF, 12 thousand of April 30 against 30 thousand of May 20: 74 and 91 in 100.
  await p.getByText('12,000 plants an acre planted on April 30, 2026: 74% of the best yield (table NAF).').waitFor()
  await p.getByText('Talk to your agronomist').waitFor()
  await looked(p, 'replant, weighed, phone')
  await p.getByRole('button', { name: 'Another zone' }).click()
  await p.getByLabel('Plants counted').nth(1).fill('many')
  await p.getByText('“many” is no number').waitFor()
  check(await p.getByRole('button', { name: 'Weigh it' }).isDisabled(), 'what is no number is not weighed')
  await p.getByLabel('Plants counted').nth(1).fill('29000')
  await p.getByRole('button', { name: 'Weigh it' }).click()
  await p.getByText('Zone 2: keep it.').waitFor()
  await p.context().close()
})

// A phone on the way: its browser is ended without a word, and what was touched is there.
apart('counts on foot: no network, the browser killed, sent once', async () => {
  const s = await open(join(dir, 'counted'))
  const profile = join(dir, 'phone')
  const start = async () => {
    const ctx = await chromium.launchPersistentContext(profile, { executablePath: browserPath, args: flags, viewport: { width: 390, height: 844 }, hasTouch: true, reducedMotion: 'reduce' })
    const test = running.getStore()
    ctx.on('weberror', (e) => fail('the page broke: ' + e.error().message, test))
    const p = await ctx.newPage()
    p.setDefaultTimeout(20_000)
    await p.addInitScript(() => { window.sideways = 0 })
    return { ctx, p }
  }
  // kill ends every process of a browser, which are known by the folder that they keep theirs in.
  const kill = async (ctx) => {
    const gone = new Promise((done) => ctx.on('close', done))
    for (const n of readdirSync('/proc')) {
      let line = ''
      if (/^\d+$/.test(n)) try { line = readFileSync(`/proc/${n}/cmdline`, 'utf8') } catch { /* it ended */ }
      if (line.includes('--user-data-dir=' + profile)) try { process.kill(Number(n), 'SIGKILL') } catch { /* it ended with another */ }
    }
    await gone
    rmSync(join(profile, 'SingletonLock'), { force: true })
  }
  const keptOn = (p) => p.locator('.kept[data-kept=yes]').waitFor()
  const plus = (p) => p.getByRole('button', { name: '+1 plant', exact: true })

  // One visit with the network.
  let { ctx, p } = await start()
  await p.goto(s.address + '/walk')
  await p.getByText('This page opens on this device without a network.').waitFor()
  const places = Number((await p.locator('.counting b').textContent()).match(/^(\d+) places to count/)[1])
  await looked(p, 'walk list, phone')
  await ctx.setOffline(true)
  await p.close()

  // From nothing, without it: a count, and another that is only begun.
  p = await ctx.newPage()
  await p.addInitScript(() => { window.sideways = 0 })
  await p.goto(s.address + '/walk')
  await p.getByText('This list is kept on this device').waitFor()
  await p.getByRole('button', { name: 'Count at place 1', exact: true }).first().click()
  await p.getByRole('heading', { name: `Place 1 of ${places}` }).waitFor()
  for (let i = 0; i < 3; i++) await plus(p).click()
  await p.getByLabel('Plants', { exact: true }).fill('61')
  await plus(p).click()
  await p.getByText(/^3\d,\d00 an acre; about/).waitFor()
  await p.getByRole('button', { name: '+1 late plant' }).click()
  await p.getByText('Depth, note, who, where I am').click()
  await p.getByLabel('Seed depth dug').fill('1 3/4')
  await p.getByRole('button', { name: 'Add' }).click()
  await keptOn(p)
  await looked(p, 'a count, phone')
  await p.getByRole('button', { name: 'Done, next place' }).click()
  await p.getByRole('heading', { name: `Place 2 of ${places}` }).waitFor()
  await p.getByRole('button', { name: 'Hoop' }).click()
  await p.getByLabel('Plants', { exact: true }).fill('6')
  await plus(p).click()
  await keptOn(p)
  await kill(ctx)

  // The phone is started again, still without a network.
  ;({ ctx, p } = await start())
  await ctx.setOffline(true)
  await p.goto(s.address + '/walk')
  await p.getByText(`1 of ${places} places counted`).waitFor()
  await p.getByText('1 count waits to be sent').waitFor()
  await p.getByText('1 count is begun').waitFor()
  await p.getByRole('button', { name: 'Go on at place 2' }).click()
  check(await p.getByLabel('Plants', { exact: true }).inputValue() === '7', 'what was begun is there to the last touch')
  await p.getByRole('button', { name: 'To the list' }).click()
  const [file] = await Promise.all([p.waitForEvent('download'), p.getByRole('button', { name: 'Save as a file' }).click()])
  await file.saveAs(join(dir, 'counts.json'))
  check(JSON.parse(readFileSync(join(dir, 'counts.json'), 'utf8')).counts[0].plants === 62, 'the file has the count')

  // The laptop is near: it is sent by itself, once, also when it is sent again.
  const there = async () => (await (await fetch(s.address + '/api/v1/counts')).json()).counts
  await ctx.setOffline(false)
  await p.getByText('1 was sent').waitFor()
  const first = await there()
  check(first.length === 1 && first[0].says.startsWith('62 plants, ') && first[0].says.includes('1 late, 1 seed dug, 1.7 in deep') && /^Pass \d+, rows .* seeds an acre logged; \d+ plants for 100 of them\.$/.test(first[0].logged), 'the server has it: ' + JSON.stringify(first))
  await p.reload()
  await p.getByText('1 was sent').waitFor()
  check((await there()).length === 1, 'it is there once')
  await p.getByRole('button', { name: 'Correct place 1' }).click()
  await p.getByLabel('Plants', { exact: true }).fill('60')
  await p.getByRole('button', { name: 'Done, next place' }).click()
  await p.getByRole('button', { name: 'To the list' }).click()
  await p.getByText('2 were sent').waitFor()
  check((await there()).filter((c) => c.says.startsWith('60 plants') && c.replaces === first[0].id).length === 1, 'the correction names what it replaces')
  // What they say, and what stands for planting again.
  await p.goto(s.address + '/counts')
  await p.getByText('Of 100 seeds that were logged').waitFor()
  await p.getByText('Corrected later.').first().waitFor()
  await p.getByLabel('Counts that a phone saved as a file').setInputFiles(join(dir, 'counts.json'))
  await p.getByText('0 kept, 1 known before, 0 refused.').waitFor()
  await looked(p, 'counts, phone')
  await p.getByRole('link', { name: 'Keep, fill in or start over' }).click()
  await p.waitForFunction(() => /^2\d{4}|^3\d{4}/.test([...document.querySelectorAll('label')].find((l) => l.textContent.startsWith('Plants counted'))?.querySelector('input')?.value ?? ''))
  await ctx.close()
  await s.stop()
  await run('check', join(dir, 'counted'))
})

apart('tables are taken along, one of them or all of a field', async () => {
  const p = await page((await shown()).address, { size: 'phone' })
  await p.goto((await shown()).address + '/give')
  await p.getByLabel('Written as').selectOption('geojson')
  const [one] = await Promise.all([p.waitForEvent('download'), p.getByRole('link', { name: 'Take along: findings' }).click()])
  const file = join(dir, 'findings.zip')
  await one.saveAs(file)
  check(one.suggestedFilename().endsWith('findings.zip') && statSync(file).size > 500, 'a table comes as a zip: ' + one.suggestedFilename())
  await p.getByLabel('From').fill('in May')
  await p.getByText('Write it as 2026-05-02.').waitFor()
  check(await p.getByRole('link', { name: 'Take along: findings' }).count() === 0, 'a day that is none leads nowhere')
  await p.getByLabel('From').fill('')
  await p.getByRole('combobox', { name: /^Field/ }).selectOption('north place')
  const all = await p.getByRole('link', { name: 'Take along: all of north place' }).getAttribute('href')
  check(all === '/api/v1/give/field?field=north+place' || all === '/api/v1/give/field?field=north%20place', 'a field has its link: ' + all)
  await looked(p, 'give, a field, phone')
  await p.context().close()
})

// Every size and every theme at least once; with ALL=1 each with each.
const some = [['tablet', 'light', 'shop'], ['desk', 'dark', 'shop'], ['phone', 'black', 'shop'], ['tablet', 'light', 'cab']]
const each = ['shop', 'cab'].flatMap((d) => ['light', 'dark', 'black'].flatMap((t) => Object.keys(sizes).map((s) => [s, t, d])))
for (const [size, theme, dress] of process.env.ALL ? each : some) apart(`every screen in three themes and three sizes, shop and cab: ${size}, ${theme}, ${dress}`, async () => {
  const at = (await shown()).address
  const all = (await (await fetch(at + '/api/v1/worklist?all=true')).json()).groups.flatMap((g) => g.findings)
  const rhythm = all.find((f) => f.kind === 'blocked-cell') ?? all[0]
  const paths = { worklist: '/', 'worklist, all': '/?all=1', finding: '/finding/' + rhythm.id, 'finding, rate': '/finding/' + all[0].id, ribbon: '/ribbon', rows: '/rows', 'rows, table': '/rows?table=1&order=worst', ground: '/ground', 'ground, table': '/ground?measure=speed&table=1', journal: '/journal', 'check-back': '/changed', balance: '/balance', 'row trial': '/trial', 'hand over': '/handover', 'cost sheet': '/cost', 'cost sheet, rows': '/cost?by=row', 'walk list': '/walk', counts: '/counts', 'make up': '/makeup', papers: '/paper', replant: '/replant', give: '/give', boxes: '/logbook', planter: '/logbook/planter', recipes: '/logbook/recipes', prices: '/logbook/prices', relations: '/logbook/relations', bring: '/bring', more: '/more' }
  const p = await page(at, { size, theme, dress })
  for (const [name, path] of Object.entries(paths)) {
    await p.goto(at + path)
    await settled(p)
    await looked(p, `${name}, ${size}, ${theme}, ${dress}`)
  }
  await p.context().close()
})

// shown is a logbook that nobody changes, with a limit.
let opened
const shown = () => opened ??= open(join(dir, 'screens')).then(async (s) => {
  const at = s.address + '/api/v1/settings'
  const { limits } = await (await fetch(at)).json()
  const r = await fetch(at, { method: 'PATCH', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ limits: limits.map((l) => l.of === 'ground_speed' ? { ...l, most: '3' } : l) }) })
  const now = (await r.json()).limits
  check(r.ok && now.some((l) => l.of === 'ground_speed' && l.most.startsWith('3')), 'a limit is kept: ' + JSON.stringify(now))
  return s
})

apart('a screen that may only look is offered nothing that changes anything', async () => {
  // Another screen is told by its address: it comes over the network of this
  // computer, if there is one.
  const own = Object.values(networkInterfaces()).flat().find((a) => a.family === 'IPv4' && !a.internal)
  if (!own) { console.log('     this computer has no network to look over: not tried'); return }
  const s = await open(join(dir, 'shown'), '0.0.0.0:0')
  const send = async (method, path, body) => {
    const r = await fetch(s.address + '/api/v1' + path, { method, body, headers: typeof body === 'string' ? { 'Content-Type': 'application/json' } : {} })
    check(r.ok, `${method} ${path}: ${r.status}`)
    return r.json().catch(() => ({}))
  }
  // What there can be to do: a recipe, a table to explain, a note, a job, days
  // that are old. The last two pass by themselves; here they stay.
  await send('POST', '/recipes/bring', JSON.stringify({ name: 'box.toml', text: 'recipe = 1\nbox = "box"\n[file]\nkind = "text"\ncolumns = ["time", "v"]\n[time]\ncolumn = "time"\nwritten = "year month day"\n[[value]]\ncolumn = "v"\nquantity = "ground_speed"\nelement = "machine"\nunit = "mph"\n' }))
  const { id } = await send('POST', '/uploads')
  await send('PUT', `/uploads/${id}/file?path=Monitor.csv`, new Blob(['time;Reihe 1 Fehlstellen [%]\n' + Array.from({ length: 40 }, (_, i) => `02.05.2026 14:05:${String(i).padStart(2, '0')};1,${i % 10}`).join('\n') + '\n']))
  await send('POST', `/uploads/${id}/read`)
  let table
  for (let i = 0; i < 100 && !table; i++) {
    table = (await send('GET', '/tables')).tables[0]
    if (!table) await new Promise((done) => setTimeout(done, 200))
  }
  await send('POST', '/journal', JSON.stringify({ text: 'cleaners 22 psi' }))
  const links = (await send('POST', '/screens')).links
  const there = links.find((l) => l.includes(own.address + ':'))
  const at = new URL(there).origin
  const p = await page(at)
  await p.route('**/api/v1/book', async (r) => { const a = await r.fetch(); await r.fulfill({ response: a, json: { ...await a.json(), stale: true } }) })
  let running = [] // days that are old are offered while nothing runs
  await p.route('**/api/v1/jobs', (r) => r.fulfill({ json: { jobs: running } }))
  await p.goto(there)
  await p.getByRole('button', { name: 'Show it' }).click()
  await p.locator('.item').first().waitFor()
  let pressed = ''
  p.on('request', (r) => { if (r.method() !== 'GET') fail(`looking only: ${pressed}: ${r.method()} ${r.url().slice(at.length)}`) })
  const all = (await send('GET', '/worklist')).groups.flatMap((g) => g.findings)
  const recipe = '/recipe?' + new URLSearchParams({ upload: table.upload, path: table.path })
  const seen = []
  for (const path of ['/', '/finding/' + all[0].id, '/ribbon', '/ground', '/rows', '/journal', '/changed', '/balance', '/trial', '/handover', '/cost', '/walk', '/counts', '/replant', '/makeup', '/paper', '/give', '/logbook', '/logbook/planter', '/logbook/prices', '/logbook/recipes', '/logbook/relations', recipe, '/bring', '/more']) {
    running = path === '/bring' ? [{ id: 'x', what: 'read', state: 'running', doing: 'reading', name: '', done: 1, total: 9, unit: 'days', left_s: 0, says: 'Reading', error: '' }] : []
    await p.goto(at + path)
    await settled(p)
    if (running.length) await p.locator('.job').waitFor()
    if (path.startsWith('/logbook')) await p.getByText('Something was changed since the last reading.').waitFor()
    pressed = path
    // Each button is pressed, and each form sent, where it is seen; what is folded
    // is unfolded first. Those that lead elsewhere lead back.
    await p.evaluate(() => { for (const d of document.querySelectorAll('details')) d.open = true })
    const names = await p.evaluate(() => [...document.querySelectorAll('main button, .foot button')].map((b) => b.ariaLabel || b.textContent.trim()))
    seen.push(...names)
    for (const [i, name] of names.entries()) {
      pressed = `${path}: ${name}`
      await p.evaluate(([i, name]) => { const b = [...document.querySelectorAll('main button, .foot button')]; (b.find((x, k) => k >= i && (x.ariaLabel || x.textContent.trim()) === name) ?? b.find((x) => (x.ariaLabel || x.textContent.trim()) === name))?.click() }, [i, name])
      await p.waitForTimeout(20)
      if (new URL(p.url()).pathname !== path.split('?')[0]) { await p.goto(at + path); await settled(p) }
    }
    pressed = path + ': a form'
    await p.evaluate(() => { for (const f of document.forms) f.requestSubmit() })
    await p.waitForTimeout(60)
    await looked(p, 'looking only, ' + path.split('?')[0])
  }
  check(seen.length > 20, `buttons were pressed: ${seen.length}`)
  check((await send('GET', '/recipes')).recipes.length === 1 && (await send('GET', '/tables')).tables.length === 1, 'all is there still')
  await p.context().close()
  await s.stop()
})

test('cab mode: nothing small', async () => {
  const p = await page(main.address, { dress: 'cab' })
  const all = (await (await fetch(main.address + '/api/v1/worklist')).json()).groups.flatMap((g) => g.findings)
  for (const path of ['/', '/finding/' + all[0].id, '/finding/' + all.find((f) => f.kind === 'unplanted-left').id, '/rows', '/ground', '/ground?left=1&twice=1', '/journal', '/changed', '/balance', '/trial', '/handover', '/more']) {
    await p.goto(main.address + path)
    await settled(p)
    const bad = await p.evaluate(() => {
      const out = []
      const seen = (e) => { const r = e.getBoundingClientRect(); return r.width > 1 && r.height > 1 && getComputedStyle(e).visibility !== 'hidden' }
      for (const e of document.querySelectorAll('main *, nav *')) {
        if (!seen(e) || e.closest('.hush, details:not([open]) > :not(summary)')) continue
        const own = [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim())
        const size = parseFloat(getComputedStyle(e).fontSize)
        if (own && size < 18 && e.tagName !== 'TITLE' && e.tagName !== 'OPTION') out.push(`${e.tagName} "${e.textContent.trim().slice(0, 30)}" at ${size} px`)
        if ((e.matches('button, nav a, summary, select, input:not([type=checkbox])')) && e.getBoundingClientRect().height < 64) out.push(`${e.tagName} "${(e.textContent || e.ariaLabel || '').trim().slice(0, 30)}" is ${e.getBoundingClientRect().height} px high`)
      }
      return out
    })
    for (const b of bad.slice(0, 4)) fail(`cab ${path}: ${b}`)
  }
  await p.context().close()
})

async function tried(test) {
  const begun = Date.now()
  await running.run(test, async () => { try { await test.f() } catch (e) { fail(test.name + ': ' + String(e.message).split('\n').slice(0, 4).join(' ')) } })
  const bad = test.said.some((s) => s.startsWith('FAIL'))
  console.log([...test.said, `${bad ? 'BAD ' : 'ok  '} ${test.name} (${((Date.now() - begun) / 1000).toFixed(1)} s)`].join('\n'))
}
others.reverse() // the long ones stand last: what is left over at the end is short
const row = async (...lists) => { for (const list of lists) for (let x; (x = list.shift());) await tried(x) }
await Promise.all([row(tests, others), row(others)])
await row(timed)
await browser.close()
await main.stop()
if (opened) await (await opened).stop()
await run('check', join(dir, 'book'))
rmSync(dir, { recursive: true, force: true })
console.log(failed ? `${failed} failures` : 'all well')
process.exit(failed ? 1 : 0)
