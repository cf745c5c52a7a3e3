// Ground that was not planted and ground planted twice, as it is drawn wherever
// it is: rings as the ribbon has them for a skip, pairs of ticks joined below as
// for a double. Shape tells them apart, colour only helps.
export type PatchKind = 'left' | 'twice'
export const patchName: Record<PatchKind, string> = { left: 'Not planted', twice: 'Planted twice' }

// mark gives the strokes of one mark about x, y as a path.
export function mark(kind: PatchKind, x: number, y: number, r: number): string {
  if (kind === 'left') return `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`
  return `M${x - r * 0.8} ${y - r}V${y + r}H${x + r * 0.8}V${y - r}`
}

// Swatch is a kind in a legend.
export function Swatch({ kind }: { kind: PatchKind }) {
  return <svg class="swatch" viewBox="0 0 30 24" aria-hidden="true">
    <rect class={'patch ' + kind} x={2} y={2} width={26} height={20} />
    {kind === 'twice' && <rect class="core" x={2} y={2} width={26} height={20} />}
    {[9, 21].map((x) => <path key={x} class="mark" d={mark(kind, x, 12, 4)} />)}
  </svg>
}

// stamp is one mark as pixels, in a square that repeats; with a paper colour it
// stands on a patch of its own.
export function stamp(kind: PatchKind, size: number, ratio: number, ink: string, paper: string): ImageData {
  const n = size * ratio
  const c = document.createElement('canvas')
  c.width = c.height = n
  const on = c.getContext('2d', { willReadFrequently: true })!
  on.scale(ratio, ratio)
  const d = new Path2D(mark(kind, size / 2, size / 2, size * 0.24))
  on.lineCap = 'round'
  if (paper) {
    on.lineWidth = 6
    on.strokeStyle = paper
    on.stroke(d)
    if (kind === 'left') { on.fillStyle = paper; on.fill(d) }
  }
  on.lineWidth = 1.8
  on.strokeStyle = ink
  on.stroke(d)
  return on.getImageData(0, 0, n, n)
}
