// The field of a finding about its ground: boundary, passes, what was not planted
// and what was twice.
import { useRef } from 'preact/hooks'
import type * as api from '../api'
import { at, boxOf, fitted, outline, project, type Frame } from '../ground/place'
import { AsTable } from '../parts'
import { mark, patchName, Swatch, type PatchKind } from './patches'
import { useWidth } from './size'

export function FieldView({ g }: { g: api.FindingGround }) {
  const ref = useRef<HTMLDivElement>(null)
  const w = useWidth(ref)
  const box = boxOf(g.bounds)
  const h = Math.round(Math.max(180, Math.min(420, w * 0.7, (box[3] - box[1]) / (box[2] - box[0]) * w + 40)))
  const f = fitted(box, w, h, 14)
  const shape = outline({ boundaries: g.boundary, passes: g.passes }, f)
  const head = g.patches.features.find((p) => p.properties.id === g.head)
  const kinds = (['left', 'twice'] as const).filter((k) => g.patches.features.some((p) => p.properties.kind === k))
  return <figure>
    <h2>{g.title}</h2>
    <div ref={ref} class="fieldview">
      <svg width={w} height={h} role="img" aria-label={g.says}>
        <defs>{kinds.map((k) => <pattern key={k} id={'of-' + k} width={12} height={12} patternUnits="userSpaceOnUse"><path class="mark" d={mark(k, 6, 6, 3)} /></pattern>)}</defs>
        <path class="way" d={shape.passes} />
        <path class="edge" d={shape.fields} />
        {[...g.patches.features].reverse().map((p) => <Piece key={p.properties.id} p={p} f={f} />)}
        {head && <Meant p={head} f={f} />}
      </svg>
    </div>
    <ul class="legend small">{kinds.map((k) => <li key={k}><Swatch kind={k} />{patchName[k]}</li>)}{head && <li><i class="meant" />the largest of them: {head.properties.size}, {head.properties.shape}</li>}</ul>
    <figcaption class="cap">{g.says} Thin lines: the passes.</figcaption>
    {g.patches.features.length > 0 && <AsTable label={g.title + ', pieces'} name="pieces"><thead><tr><th>what</th><th class="n">size</th><th>shape</th><th>passes</th></tr></thead>
      <tbody>{g.patches.features.slice(0, most).map(({ properties: p }) => <tr key={p.id}><td>{patchName[p.kind].toLowerCase()}</td><td class="n">{p.size}</td><td>{p.shape}</td><td>{p.passes.map((x) => x.label).join('; ')}</td></tr>)}</tbody></AsTable>}
  </figure>
}

// most pieces are worth a line.
const most = 100

function Piece({ p, f }: { p: api.PatchFeature, f: Frame }) {
  const kind: PatchKind = p.properties.kind
  const d = rings(p, f)
  return <g>
    <path class="casing" d={d} />
    <path class={'patch ' + kind} d={d} style={{ fill: `url(#of-${kind})` }} fill-rule="evenodd" />
    {kind === 'twice' && <path class="core" d={d} />}
  </g>
}

// rings gives a piece as a path in a frame's pixels.
export function rings(p: { geometry: { coordinates?: unknown } }, f: Frame): string {
  return (p.geometry.coordinates as [number, number][][][]).flat().map((r) => 'M' + r.map(([lon, lat]) => at(f, ...project(lon, lat)).map((x) => x.toFixed(1)).join(' ')).join('L') + 'Z').join('')
}

// Meant draws the piece that the finding is about first over the others, with a
// ring around it where it is small.
function Meant({ p, f }: { p: api.PatchFeature, f: Frame }) {
  const [x0, y0, x1, y1] = boxOf(p.properties.bounds)
  const [left, top] = at(f, x0, y0), [right, bottom] = at(f, x1, y1)
  const d = rings(p, f), r = Math.max(right - left, bottom - top) / 2 + 12
  return <g>
    <path class="casing" d={d} style={{ strokeWidth: 8, fill: 'none' }} />
    <path class="meant" d={d} />
    {r < 40 && <circle class="meant" cx={(left + right) / 2} cy={(top + bottom) / 2} r={r} />}
  </g>
}
