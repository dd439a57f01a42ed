import { compose, type Composed } from '../compose.ts'
import { loadConfig } from '../config.ts'
import { Failure } from '../domain/failure.ts'

/**
 * Opens the service's stores for one command, without starting to serve or send, and closes them after it.
 * @param onFailure `tell`: write the message and exit 1; `throw`: leave it to the command.
 */
export async function withService(
  work: (composed: Composed) => Promise<void>,
  onFailure: 'tell' | 'throw' = 'tell',
): Promise<void> {
  try {
    const composed = await compose({ ...loadConfig(), logLevel: 'error' })
    await work(composed).finally(() => composed.close())
  } catch (error) {
    if (!(error instanceof Failure) || onFailure === 'throw') throw error
    process.stderr.write(`${error.detail.message}\n`)
    process.exitCode = 1
  }
}
