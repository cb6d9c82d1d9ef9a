// Prints what a GeoPackage holds, as JSON: of each table its columns, number of rows and CRS.
delete globalThis.fetch // its SQLite in WebAssembly shall come from the disk
const { GeoPackageAPI, setSqljsWasmLocateFile } = require('@ngageoint/geopackage')

setSqljsWasmLocateFile((file) => require.resolve(`rtree-sql.js/dist/${file}`))

async function main (path) {
  const plan = await GeoPackageAPI.open(path)
  const found = {}
  for (const name of plan.getFeatureTables()) {
    const layer = plan.getFeatureDao(name)
    const columns = layer.table.getUserColumns().getColumnNames()
    found[name] = { columns, rows: layer.count(), srs: layer.srs.organization_coordsys_id }
  }
  for (const name of plan.getAttributesTables()) {
    const table = plan.getAttributeDao(name)
    found[name] = { columns: table.table.getUserColumns().getColumnNames(), rows: table.count() }
  }
  console.log(JSON.stringify(found))
}

main(process.argv[2]).catch((error) => {
  console.error(error)
  process.exit(1)
})
