// The map's worker is a file of its own, of which the build gives the place.
declare module 'maplibre-gl/dist/maplibre-gl-worker.mjs' {
  const place: string
  export default place
}
