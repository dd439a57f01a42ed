import { writeFile } from 'node:fs/promises'
import { Command } from 'commander'
import { imageOf } from '../adapters/db/embedded.ts'
import { loadConfig, type Config } from '../config.ts'
import { Failure } from '../domain/failure.ts'
import { plainly } from './plainly.ts'

export function command(): Command {
  return new Command('backup')
    .description(
      'Write the embedded database into a file. Stop the service first. The sealing key is not in it: keep that elsewhere.',
    )
    .argument('<file>', 'new file to write, e.g. daysix-2026-03-09.tar.gz')
    .action(
      plainly(async (file: string) => {
        const config = loadConfig()
        refuseServer(config, 'pg_dump --format=custom --schema=daysix --file=daysix.dump "$DATABASE_URL"')
        const image = await imageOf(config.dataDir)
        // Never over an older one.
        await writeFile(file, image, { flag: 'wx', mode: 0o600 })
        process.stdout.write(
          `Wrote ${file} (${Math.ceil(image.length / 1024)} KiB). Keep the sealing key elsewhere: without it the file cannot be read.\n`,
        )
      }),
    )
}

/** A server has its own, better tools. @throws bad-config naming the one to use */
export function refuseServer({ databaseUrl }: Pick<Config, 'databaseUrl'>, instead: string): void {
  if (databaseUrl)
    throw new Failure('bad-config', {
      field: 'DATABASE_URL',
      message: `The data is in PostgreSQL: use its own tools, e.g. ${instead}`,
    })
}
