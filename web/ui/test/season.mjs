// Makes the season that the page is timed with: four long days of 36 rows in one
// logbook, 73 million seeds. Minutes, and some 8 GB while it runs.
//
//	node test/season.mjs PROGRAM LOGBOOK [DAYS]
import { spawnSync } from 'node:child_process'
import { cpSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { dirname, join, resolve } from 'node:path'

const program = resolve(process.argv[2]), book = resolve(process.argv[3])
const run = (...args) => {
  const r = spawnSync(program, args, { stdio: ['ignore', 'ignore', 'inherit'] })
  if (r.status !== 0) process.exit(1)
}
const day = readFileSync(new URL('../../../scenarios/season.toml', import.meta.url), 'utf8')
const tmp = mkdtempSync(join(dirname(book), 'season-'))
for (let d = 1; d <= Number(process.argv[4] ?? 4); d++) {
  const text = day.replace('seed = 7101', `seed = ${7100 + d}`).replace('2026-05-01', `2026-05-0${d}`).replace('field 1', `field ${d}`).replace('[41.62, -93.479]', `[${(41.6 + 0.02 * d).toFixed(2)}, ${(-93.5 + 0.021 * (d % 2)).toFixed(3)}]`)
  const sim = join(tmp, 'day' + d)
  writeFileSync(sim + '.toml', text)
  run('simulate', sim + '.toml', sim)
  const fields = readdirSync(join(sim, 'fields')).map((f) => join(sim, 'fields', f))
  if (d === 1) run('new', book, '--planter', join(sim, 'card.toml'), '--zone', 'America/Chicago', '--price', '4.50/bu', '--yield', '190bu/ac', '--seed-price', '300/80000')
  for (const f of fields) cpSync(f, join(book, 'fields', f.split(/[\\/]/).pop()))
  run('read', book, join(sim, 'boxes'))
  rmSync(sim, { recursive: true })
}
rmSync(tmp, { recursive: true })
