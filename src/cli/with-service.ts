import { compose, type Composed } from '../compose.ts'
import { loadConfig } from '../config.ts'
import { Failure } from '../domain/failure.ts'

/** Opens the service's stores for one command, without starting to serve or send, and closes them after it. */
export async function withService(work: (composed: Composed) => Promise<void>): Promise<void> {
  try {
    const composed = await compose({ ...loadConfig(), logLevel: 'error' })
    await work(composed).finally(() => composed.close())
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    process.stderr.write(`${error.detail.message}\n`)
    process.exitCode = 1
  }
}
