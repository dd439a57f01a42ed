import { setTimeout as pause } from 'node:timers/promises'
import { Command } from 'commander'
import { countByKey, noteAllBound, resealAll } from '../adapters/db/reseal.ts'
import { addKeyToFile } from '../adapters/vault/key-file.ts'
import { loadConfig } from '../config.ts'
import { Failure } from '../domain/failure.ts'
import { withService } from './with-service.ts'

/** Running processes take up a new key within a second; only then does nobody seal with the one before. */
const TAKEN_UP_MS = 1_500

export function command(): Command {
  return new Command('rotate-key')
    .description(
      'Make a new sealing key and seal all data anew with it, while the service runs. With DAYSIX_KEY set, only seal anew with its newest key.',
    )
    .option('--status', 'only count what each key has sealed')
    .action(({ status }: { status?: boolean }) => (status ? withService(show) : rotate()))
}

const say = (line: string) => void process.stdout.write(`${line}\n`)

async function show({ database }: Parameters<Parameters<typeof withService>[0]>[0]): Promise<void> {
  for (const [id, count] of Object.entries(await countByKey(database))) say(`${id}\t${count}`)
}

async function rotate(): Promise<void> {
  const config = loadConfig()
  if (config.key === undefined)
    say(`new key ${await addKeyToFile(config.dataDir)} in sealing.key: keep a copy of the file`)
  else
    say(
      'no new key was made: DAYSIX_KEY is set. Draw one (openssl rand -base64 32), add it at the end of DAYSIX_KEY after a comma, restart, and run this again',
    )
  try {
    await withService(async ({ database, vault }) => {
      await pause(TAKEN_UP_MS)
      say(`sealed anew: ${await resealAll(database, vault)}`)
      await noteAllBound(database, vault)
    }, 'throw')
  } catch (error) {
    if (!(error instanceof Failure) || error.code !== 'data-folder-in-use') throw error
    say(
      'the running service seals the data anew within a minute or two; see it with: daysix rotate-key --status, once it is stopped',
    )
  }
}
