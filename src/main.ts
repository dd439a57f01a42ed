import { Failure } from './domain/failure.ts'
import { compose, type Composed } from './compose.ts'
import { loadConfig } from './config.ts'
import { startService, type Role } from './service.ts'
import { firstAdministrator } from './adapters/access/people.ts'
import { startDaily } from './adapters/worker/daily.ts'
import { retainDaily } from './flows/retention.ts'
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

/** A stop that takes longer than this is cut short: what was in flight is recovered by whoever comes next. */
const STOP_MS = 28_000

async function run(role: Role): Promise<void> {
  const config = loadConfig()
  const composed = await compose(config)
  if (!config.production && (await ensureFirstClinic(composed.deps))) {
    composed.log.warn('made a clinic called "main" with a fictional telephone number: PUT /api/v1/clinics/main to make it yours')
  }
  const running = await startService(config, composed, role)
  process.stdout.write(running.url ? `Daysix is ready at ${running.url}\n` : `Daysix is sending${running.healthUrl && `; its health is at ${running.healthUrl}`}\n`)
  const stopDaily = role === 'web' ? undefined : dailyWork(composed)
  if (running.url) await welcome(composed, running.url)
  const stop = async () => {
    setTimeout(() => process.exit(1), STOP_MS).unref()
    await stopDaily?.()
    await running.stop()
    await composed.close()
    process.exit(0)
  }
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => void stop())
}

/** Until there is an administrator, every start says how to become it. The code works once, for a day. */
async function welcome({ deps }: Composed, url: string): Promise<void> {
  const first = await firstAdministrator(deps)
  if (first) process.stdout.write(`Become the administrator: open ${url}/sign-in/first, one-time code ${first.code} (you will sign in as "${first.login}")\n`)
}

/** Clears what is no longer needed, and tells the log where the audit record stands: a head noted elsewhere proves it whole. */
function dailyWork({ deps, log }: Composed): () => Promise<void> {
  const work = async () => {
    if (!(await retainDaily(deps, deps.policy.retention))) return
    const { seq, hash } = await deps.access.read.audit.head()
    log.info({ seq, hash }, 'retention has run; head of the audit record')
  }
  return startDaily(work, (error) => log.error({ name: error.name }, 'daily work failed'))
}
