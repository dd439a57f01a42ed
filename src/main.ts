import { Failure } from './domain/failure.ts'
import { compose } from './compose.ts'
import { loadConfig } from './config.ts'
import { startService, type Role } from './service.ts'
import { ensureFirstClinic } from './flows/first-clinic.ts'

/** Runs the service until it is told to stop. The only place that ends the process. */
export async function main(role: Role): Promise<void> {
  try {
    await run(role)
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    process.stderr.write(`${error.detail.message}\n`)
    process.exit(1)
  }
}

async function run(role: Role): Promise<void> {
  const config = loadConfig()
  const composed = await compose(config)
  if (!config.production && (await ensureFirstClinic(composed.deps))) {
    composed.log.warn('made a clinic called "main" with a fictional telephone number: PUT /api/v1/clinics/main to make it yours')
  }
  const running = await startService(config, composed, role)
  if (running.url) process.stdout.write(`Daysix is ready at ${running.url}\n`)
  const stop = async () => {
    await running.stop()
    await composed.close()
    process.exit(0)
  }
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => void stop())
}
