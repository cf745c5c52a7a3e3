// Builds the page into dist, or the folder named: everything that it loads, from this folder alone,
// named by content, so that a browser may keep it for good.
import { build } from 'esbuild'
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

// The licences of what is bundled go along with it.
const licences = ['preact', 'maplibre-gl', 'pmtiles', '@fontsource/atkinson-hyperlegible-next']
  .map((name) => {
    const dir = `node_modules/${name}`
    const text = readdirSync(dir).find((f) => /^licen[cs]e/i.test(f))
    return `${name} ${JSON.parse(readFileSync(`${dir}/package.json`, 'utf8')).version}\n\n${text ? readFileSync(`${dir}/${text}`, 'utf8') : ''}`
  })
writeFileSync(`${dist}/licences.txt`, licences.join('\n\n----\n\n'))
