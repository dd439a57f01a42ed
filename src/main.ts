import { FAILURES, Failure } from './domain/failure.ts'
import { compose, type Composed } from './compose.ts'
import { loadConfig, type Config } from './config.ts'
import { startService, type Role } from './service.ts'
import { backUpWhenDue } from './adapters/backup/scheduled.ts'
import { forgetFirstCode, sayFirstCode } from './adapters/sign-in/first-code.ts'
import { firstAdministrator } from './adapters/sign-in/people.ts'
import { openLines } from './adapters/db/open-lines.ts'
import { noteAllBound, resealAll } from './adapters/db/reseal.ts'
import { tellFault } from './adapters/faults/tell-fault.ts'
import { startRhythm } from './adapters/worker/rhythm.ts'
import { anythingGoesOut } from './flows/messages/approved-texts.ts'
import { retainDaily } from './flows/patients/retention.ts'
import { sendsToNobody } from './flows/region/in-earnest.ts'
import { ensureFirstClinic } from './flows/region/first-clinic.ts'

/** Runs the service until it is told to stop. The only place that ends the process. */
export async function main(role: Role): Promise<void> {
  try {
    await run(role)
  } catch (error) {
    tellFault(error)
    process.exit(isOfSettings(error) ? WRONG_SETTINGS : 1)
  }
}

/** `EX_CONFIG` of sysexits.h: whoever keeps the service running need not start it again. */
const WRONG_SETTINGS = 78

/** Only a change of the settings mends it; a port, a database or a disk may be there by itself later. */
function isOfSettings(error: unknown): boolean {
  return error instanceof Failure && FAILURES[error.code].status !== 503
}

/** A stop that takes longer than this is cut short: what was in flight is recovered by whoever comes next. */
const STOP_MS = 175_000
const MINUTE_MS = 60_000
const HOUR_MS = 60 * MINUTE_MS

const NOTHING_APPROVED =
  'Nothing goes out yet: nobody has approved the texts of a language. ' +
  'Do so on the desk\'s page "Texts", or with: npx daysix texts --approve'

async function run(role: Role): Promise<void> {
  const config = loadConfig()
  // What this process writes is for its own account only.
  process.umask(0o077)
  const composed = await compose(config)
  warnOfOpenDoors(config, composed)
  if (!config.production && (await ensureFirstClinic(composed.deps))) {
    composed.log.warn(
      'made a clinic called "main" with a fictional telephone number: make it yours on the page /settings/clinics/main',
    )
  }
  const running = await startService(config, composed, role).catch(async (error: unknown) => {
    await composed.close()
    throw error
  })
  process.stdout.write(
    running.url
      ? `Daysix is ready at ${running.url}\n`
      : `Daysix is sending${running.healthUrl && `; its health is at ${running.healthUrl}`}\n`,
  )
  if (!anythingGoesOut(composed.deps.approvedTexts)) process.stdout.write(`${NOTHING_APPROVED}\n`)
  await warnOfFiction(composed)
  const stopDaily = role === 'web' ? undefined : dailyWork(composed)
  const stopSealing = role === 'web' ? undefined : sealingAnew(composed)
  const stopBackups = role === 'web' ? undefined : makingBackups(config, composed)
  const stopNoting = notingHeads(composed)
  if (running.url) await welcome(config, composed, running.url)
  endOnSignal(async () => {
    // Sending ends first of all, however long the other work takes: what is in flight must be over in time.
    await Promise.all([running.stop(), stopDaily?.(), stopSealing?.(), stopBackups?.()])
    await stopNoting()
    await composed.close()
  })
}

/**
 * Ends the process in good order, once. A terminal and whatever started the process may each tell it: a signal that
 * comes while it stops must not cut off what is in flight.
 */
function endOnSignal(stop: () => Promise<void>): void {
  let stopping = false
  const once = () => {
    if (stopping) return
    stopping = true
    setTimeout(() => process.exit(1), STOP_MS).unref()
    void stop().then(
      () => process.exit(0),
      () => process.exit(1),
    )
  }
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.on(signal, once)
}

/** Patients would be told to call a number at which nobody can ever answer. */
async function warnOfFiction({ deps, log }: Composed): Promise<void> {
  for (const { id } of (await deps.store.read.clinics.list()).filter((clinic) => sendsToNobody(deps, clinic)))
    log.warn({ clinic: id }, 'its number is set apart for fiction: write the right one on the page /settings/clinics')
}

function warnOfOpenDoors(config: Config, { log, database }: Composed): void {
  for (const setting of openLines(config))
    log.warn({ setting }, 'the line to it is not encrypted, and leads beyond this machine and its network')
  if (database.wasOpen) log.warn('others on this machine could read DATA_DIR: it is shut to all but its owner now')
}

/** Until there is an administrator, every start says how to become it. The code works once, for a day. */
async function welcome({ dataDir, production }: Config, { deps }: Composed, url: string): Promise<void> {
  const first = await firstAdministrator(deps)
  if (!first) return forgetFirstCode(dataDir)
  const isTerminal = process.stdout.isTTY === true
  process.stdout.write(await sayFirstCode(first, { url, dataDir, production, isTerminal }))
}

/** Clears what is no longer needed, and tells the log how much it was. */
function dailyWork({ deps, log }: Composed): () => Promise<void> {
  const work = async () => {
    const cleared = await retainDaily(deps, deps.policy.retention)
    if (cleared) log.info({ cleared }, 'retention has run')
  }
  return startRhythm(HOUR_MS, work, (error) => log.error({ name: error.name }, 'daily work failed'))
}

const BACKUP_LOOK_MS = 10 * MINUTE_MS

/** Makes backups while the service runs, where a folder is named for them. */
function makingBackups({ backups, databaseUrl }: Config, composed: Composed): (() => Promise<void>) | undefined {
  if (!backups) return undefined
  const { deps, log } = composed
  const work = () => backUpWhenDue(composed, { ...backups, databaseUrl }, deps.clock.now())
  return startRhythm(BACKUP_LOOK_MS, work, (error) =>
    log.error({ name: error.name, code: (error as { code?: unknown }).code }, 'no backup could be made'),
  )
}

/** Notes where the audit record stands, hourly and at the end: what is cut off or rewritten later is found by it. */
function notingHeads({ deps: { headNotes } }: Composed): () => Promise<void> {
  const stop = startRhythm(HOUR_MS, headNotes.note, () => {})
  return async () => {
    await stop()
    await headNotes.note()
  }
}

/** Seals data anew once there is another key than they were last looked through with. */
function sealingAnew({ database, vault, log }: Composed): () => Promise<void> {
  let done = ''
  const work = async () => {
    const key = vault.sealsWith()
    if (key === done) return
    const count = await resealAll(database, vault)
    // Whoever was still sealing with the key before leaves something for the next pass.
    if (count > 0) return log.info({ key, count }, 'sealed anew')
    await noteAllBound(database, vault)
    done = key
  }
  return startRhythm(MINUTE_MS, work, (error) => log.error({ name: error.name }, 'sealing anew failed'))
}
