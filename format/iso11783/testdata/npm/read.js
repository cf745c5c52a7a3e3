// Prints what the library reads of a zipped task data set, as JSON: version,
// warnings, and for each task its logs' records [ms, north, east, {key: raw}]
// its treatment zones' codes and rates, and its grid's bytes. Positions are in 1e-7 degree; a key is DDI_element.
const { readFileSync, writeSync } = require('fs')
const { ISOXMLManager } = require('isoxml')

async function main() {
  const manager = new ISOXMLManager()
  await manager.parseISOXMLFile(new Uint8Array(readFileSync(process.argv[2])), 'application/zip')
  const root = manager.rootElement.attributes
  const out = {
    version: Number(root.VersionMajor),
    warnings: manager.getWarnings(),
    elements: (root.Device || []).reduce((n, d) => n + (d.attributes.DeviceElement || []).length, 0),
    tasks: (root.Task || []).map(task => ({
      id: manager.getReferenceByEntity(task).xmlId,
      logs: (task.attributes.TimeLog || []).map(log => {
        const parsed = log.parseBinaryFile()
        return {
          errors: log.parsingErrors,
          columns: parsed.valuesInfo.length,
          records: parsed.timeLogs.map(r => [r.time.getTime(), Math.round(r.position.PositionNorth * 1e7), Math.round(r.position.PositionEast * 1e7), r.values]),
        }
      }),
      zones: (task.attributes.TreatmentZone || []).map(z => ({
        code: z.attributes.TreatmentZoneCode,
        rates: (z.attributes.ProcessDataVariable || []).map(p => [parseInt(p.attributes.ProcessDataDDI, 16), p.attributes.ProcessDataValue]),
      })),
      grids: (task.attributes.Grid || []).map(g => ({
        columns: g.attributes.GridMaximumColumn,
        rows: g.attributes.GridMaximumRow,
        type: Number(g.attributes.GridType),
        bytes: Buffer.from(g.binaryData).toString('base64'),
      })),
    })),
  }
  const text = Buffer.from(JSON.stringify(out))
  for (let at = 0; at < text.length;) {
    try {
      at += writeSync(1, text, at)
    } catch (e) {
      if (e.code !== 'EAGAIN') throw e
    }
  }
}

main().catch(e => { console.error(e); process.exit(1) })
