// Builds the page into dist, or the folder named: everything that it loads, from this folder alone,
// named by content, so that a browser may keep it for good.
import { build } from 'esbuild'
import { createHash } from 'node:crypto'
import { cpSync, mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs'

const dist = process.argv[2] ?? 'dist'
rmSync(dist, { recursive: true, force: true })
mkdirSync(`${dist}/assets`, { recursive: true })

// The map's worker must be a file that a browser can start by itself; what is
// imported of it is its place.
const workers = { name: 'workers', setup: (b) => b.onLoad({ filter: /maplibre-gl-worker\.mjs$/ }, (a) => ({ contents: readFileSync(a.path), loader: 'file' })) }

const out = await build({
  entryPoints: { main: 'src/main.tsx', style: 'src/style.css' },
  bundle: true, splitting: true, format: 'esm', target: ['es2022', 'chrome110', 'firefox110', 'safari16'],
  outdir: `${dist}/assets`, entryNames: '[name]-[hash]', chunkNames: '[name]-[hash]', assetNames: '[name]-[hash]',
  loader: { '.woff2': 'file', '.svg': 'file' }, plugins: [workers], jsx: 'automatic', jsxImportSource: 'preact',
  minify: true, sourcemap: false, metafile: true, legalComments: 'none', logLevel: 'warning',
  define: { 'process.env.NODE_ENV': '"production"' },
})

const file = (ext, entry) => Object.entries(out.metafile.outputs).find(([p, o]) => o.entryPoint === entry && p.endsWith(ext))[0].replace(/^.*assets\//, 'assets/')
const js = file('.js', 'src/main.tsx')
const css = file('.css', 'src/style.css')
writeFileSync(`${dist}/index.html`, readFileSync('src/index.html', 'utf8').replace('MAIN.js', js).replace('STYLE.css', css))
cpSync('src/icon.svg', `${dist}/icon.svg`)
cpSync('src/manifest.webmanifest', `${dist}/manifest.webmanifest`)
for (const size of [192, 512]) cpSync(`src/icon-${size}.png`, `${dist}/icon-${size}.png`)

// What the page opens with when there is no network: itself, what it loads at once,
// its letters. The map and what else comes later is left out. A service worker that
// differs by a byte is taken up anew, so the sum of all of it stands in it.
const at = (p) => p.replace(/^.*assets\//, '/assets/')
const first = new Set()
const needs = (p) => { if (!first.has(p)) { first.add(p); out.metafile.outputs[p].imports.filter((i) => i.kind === 'import-statement' && !i.external).forEach((i) => needs(i.path)) } }
needs(Object.keys(out.metafile.outputs).find((p) => at(p) === '/' + js))
const shell = ['/', ...[...first].map(at), '/' + css, ...Object.keys(out.metafile.outputs).filter((p) => /latin-\d+-.*woff2$/.test(p)).map(at), '/icon.svg', '/icon-192.png', '/manifest.webmanifest'].sort()
const sum = createHash('sha256')
for (const p of shell) sum.update(p).update(readFileSync(dist + (p === '/' ? '/index.html' : p)))
writeFileSync(`${dist}/sw.js`, readFileSync('src/sw.js', 'utf8').replace('SHELL', JSON.stringify(shell)).replace('SUM', sum.digest('hex').slice(0, 12)))

// The licences of what is bundled go along with it.
const licences = ['preact', 'maplibre-gl', 'pmtiles', '@fontsource/atkinson-hyperlegible-next']
  .map((name) => {
    const dir = `node_modules/${name}`
    const text = readdirSync(dir).find((f) => /^licen[cs]e/i.test(f))
    return `${name} ${JSON.parse(readFileSync(`${dir}/package.json`, 'utf8')).version}\n\n${text ? readFileSync(`${dir}/${text}`, 'utf8') : ''}`
  })
writeFileSync(`${dist}/licences.txt`, licences.join('\n\n----\n\n'))
