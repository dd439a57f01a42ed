import { Command } from 'commander'
import { compose } from '../compose.ts'
import { loadConfig } from '../config.ts'
import { plainly } from './plainly.ts'

export function command(): Command {
  return new Command('migrate')
    .description('Bring the tables up to date, before the new version is started. Forward only; starting does it too.')
    .action(
      plainly(async () => {
        const composed = await compose(loadConfig(), { notice: () => {} })
        process.stdout.write(`The tables are up to date (${composed.database.kind}).\n`)
        await composed.deps.queue.stop()
        await composed.close()
      }),
    )
}
