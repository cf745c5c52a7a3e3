// What a reading came to, in a few words, and whether one has seen it.
import type * as api from '../api'

type Ended = Pick<api.Job, 'id' | 'what' | 'state' | 'says' | 'error' | 'result'>

export const over = (j: Pick<api.Job, 'state'>): boolean => j.state !== 'waiting' && j.state !== 'running'

const files = (n: number): string => n === 1 ? '1 file' : `${n} files`

// leftOut says how much was not used, empty when all was.
export function leftOut(j: Pick<Ended, 'result'>): string {
  const r = j.result
  if (!r) return ''
  if (r.left_out > 0) return `${files(r.left_out)} ${r.left_out === 1 ? 'was' : 'were'} not used`
  return r.unused.length > 0 ? 'Something in the files was not used' : ''
}

// cameTo says it in one line.
export function cameTo(j: Ended): string {
  if (j.state === 'failed') return j.error
  if (j.state === 'stopped') return j.says
  const r = j.result
  if (!r || r.taken + r.left_out === 0) return 'Read.'
  const waits = r.tables.length > 0 ? `; ${r.tables.length === 1 ? 'one table waits' : `${r.tables.length} tables wait`} for you to explain it` : ''
  return `${r.taken === 0 ? 'No file' : files(r.taken)} read, ${r.left_out === 0 ? 'none' : r.left_out} left out${waits}.`
}

// What was seen is kept as the run of the program and the number of its last job:
// another run counts anew.
export const seen = (j: Pick<Ended, 'id'>, run: string): string => run + ':' + j.id

// unseen is the last reading that left something out, or failed, and that nobody
// has looked at.
export function unseen<J extends Ended>(jobs: J[], run: string, told: string): J | undefined {
  const cut = told.lastIndexOf(':')
  const last = told.slice(0, cut) === run ? Number(told.slice(cut + 1)) : 0
  return jobs.filter((j) => j.what === 'read' && Number(j.id) > last && (j.state === 'failed' || j.state === 'done' && leftOut(j) !== '')).at(-1)
}
