// Runs a TypeScript program of this folder from its source: `node infra/run.mjs chaos/chaos.ts --seed 7`.
const [program, ...args] = process.argv.slice(2)
try {
  const { register } = await import('tsx/esm/api')
  register()
} catch (error) {
  if (error.code !== 'ERR_MODULE_NOT_FOUND') throw error
  process.stderr.write('The tools of development are not installed: run `npm ci`, without --omit=dev.\n')
  process.exit(1)
}
process.argv = [process.argv[0], new URL(program, import.meta.url).pathname, ...args]
await import(new URL(program, import.meta.url).href)
