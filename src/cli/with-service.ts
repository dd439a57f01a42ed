import { tellFault } from '../adapters/faults/tell-fault.ts'
import { compose, type Composed } from '../compose.ts'
import { loadConfig } from '../config.ts'

/**
 * Opens the service's stores for one command, without starting to serve or send, and closes them after it.
 * @param onFailure `tell`: write the message and exit 1; `throw`: leave it to the command.
 */
export async function withService(
  work: (composed: Composed) => Promise<void>,
  onFailure: 'tell' | 'throw' = 'tell',
): Promise<void> {
  try {
    // Somebody waits at a terminal: that the database is away is said at once.
    const composed = await compose({ ...loadConfig(), logLevel: 'error' }, { atOnce: true })
    await work(composed).finally(() => composed.close())
  } catch (error) {
    if (onFailure === 'throw') throw error
    tellFault(error)
    process.exitCode = 1
  }
}
