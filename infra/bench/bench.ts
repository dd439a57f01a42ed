// Runs every benchmark beside this file, or those named: `npm run bench -- forecast`.
// Each `<name>.bench.ts` exports `bench()`, prints its own figures and a ratio to a bare baseline measured in the same run.
import { readdir } from 'node:fs/promises'

const wanted = process.argv.slice(2)
const files = (await readdir(new URL('.', import.meta.url))).filter((file) => file.endsWith('.bench.ts')).sort()
for (const file of files) {
  if (wanted.length > 0 && !wanted.some((name) => file.startsWith(name))) continue
  const { bench } = (await import(new URL(file, import.meta.url).href)) as { bench: () => Promise<void> }
  await bench()
}
