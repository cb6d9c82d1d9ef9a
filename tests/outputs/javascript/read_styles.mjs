// Prints what a reader of Styled Layer Descriptors makes of some, as JSON.
import { readFileSync } from 'node:fs'
import parser from 'geostyler-sld-parser'

const Parser = parser.SldStyleParser ?? parser
const found = []
for (const path of process.argv.slice(2)) {
  const read = await new Parser({ sldVersion: '1.1.0' }).readStyle(readFileSync(path, 'utf8'))
  const told = [...(read.errors ?? []), ...(read.warnings ?? [])].map(String)
  const rules = read.output?.rules.map((rule) => rule.symbolizers.map((symbol) => symbol.kind))
  found.push({ told, rules })
}
console.log(JSON.stringify(found))
