import { setTimeout as pause } from 'node:timers/promises'
import express, { type Router } from 'express'
import type { Logger } from 'pino'
import { askTime } from './adapters/clock/database-clock.ts'
import { createApp } from './adapters/http/app.ts'
import { createGate, mayMeasure } from './adapters/http/access/gate.ts'
import { createRules } from './adapters/http/access/rules.ts'
import { listen, type Listening } from './adapters/http/listen.ts'
import { operations, type Readiness } from './adapters/http/operations.ts'
import { problemHandler } from './adapters/http/problem.ts'
import { startFeeds } from './adapters/schedule/start-feeds.ts'
import { startRhythm } from './adapters/worker/rhythm.ts'
import { startHeartbeat } from './adapters/worker/heartbeat.ts'
import { startSampling } from './adapters/worker/sampling.ts'
import { startSweeping } from './adapters/worker/sweeping.ts'
import { writePrints } from './adapters/worker/write-prints.ts'
import { startTelling } from './adapters/schedule/tell/start-telling.ts'
import { SCHEMA } from './adapters/db/pool.ts'
import type { Composed } from './compose.ts'
import type { Config } from './config.ts'
import { anythingGoesOut } from './flows/messages/approved-texts.ts'
import type { SendJob } from './flows/ports/jobs.ts'
import type { InboundMessage, Receipt } from './flows/ports/gateway.ts'
import { callOf, hearKeys } from './flows/replies/hear-keys.ts'
import { hearReply } from './flows/replies/hear-text.ts'
import { refuseMissingProtocols } from './flows/preparation/missing-protocols.ts'
import { replanChanged } from './flows/preparation/replan-changed.ts'
import { createSender } from './flows/messages/send-message.ts'
import { closeAllPast, requeueAll, sweep } from './flows/messages/sweep.ts'
import { WORTH_A_LOOK_MS } from './domain/messages/yield-claims.ts'
import { takeReceipt } from './flows/messages/take-receipt.ts'

export type Role = 'web' | 'worker' | 'all'

export interface Running {
  /** Address of the pages; empty for a worker. */
  url: string
  /** Address of health and metrics; empty for a worker without a port for them. */
  healthUrl: string
  stop(): Promise<void>
}

type Stop = () => Promise<void>

/** A worker stops in two steps. */
interface Worker {
  /** Claims nothing new, and finishes the sends in flight. It lives as long as that takes. */
  finish: Stop
  /** Says good-bye: what it still held would be taken over by others at once. */
  leave: Stop
}

/**
 * Starts the parts that a role needs, and returns how to stop them: the worker finishes the sends in flight, then the
 * web answers what it was asked. Pages come first, so that health can be seen while a queue is still away.
 * @throws bad-config where visits to come need a protocol that is gone
 */
export async function startService(config: Config, composed: Composed, role: Role, extra?: Router): Promise<Running> {
  const { deps, log } = composed
  await refuseMissingProtocols(deps)
  await startGateways(composed, role)
  const server = role === 'worker' ? await startHealth(config, composed) : await startWeb(config, composed, extra)
  const stopFeeds = role === 'worker' ? undefined : await startFeeds(config, composed)
  const stopHearing = hearOfApprovals(config, composed)
  const stopTiming = keepTime(composed)
  const worker = role === 'web' ? undefined : await startWorker(config, composed)
  const stops: Stop[] = [
    // Quickly over, and nothing new comes in while sends are finished.
    async () => stopFeeds?.(),
    async () => worker?.finish(),
    async () => server?.stop(),
    async () => stopHearing?.(),
    async () => stopTiming?.(),
    () => deps.queue.stop(),
    async () => void (await Promise.all([...deps.gateways.values()].map((gateway) => gateway.stop()))),
    async () => worker?.leave(),
  ]
  const stop = async () => {
    for (const each of stops)
      await each().catch((error: Error) => log.warn({ name: error.name }, 'not stopped in good order'))
  }
  return { url: role === 'worker' ? '' : server!.url, healthUrl: server?.url ?? '', stop }
}

/** Another process may record an approval at any time: a page, or the command. */
const APPROVALS_MS = 5_000

/** Without a rhythm of its own, whoever drives the clock records approvals in this very process. */
function hearOfApprovals({ sweepSeconds }: Config, { deps, log }: Composed): Stop | undefined {
  if (sweepSeconds === 0) return undefined
  return startRhythm(APPROVALS_MS, () => deps.approvedTexts.refresh(), told(log, 'approvals not read'))
}

const TIME_MS = 5_000
/** Timers may be a little early. */
const EARLY_MS = 1_000

/** Follows the database's clock, and says when the machine's is off: once, and again when it is right. */
function keepTime({ timing, database, log }: Composed): Stop | undefined {
  if (!timing) return undefined
  let isOff = false
  const look = async () => {
    await askTime(timing, database.records)
    const offset = timing.offset() ?? 0
    if (Math.abs(offset) > WORTH_A_LOOK_MS === isOff) return
    isOff = !isOff
    const seconds = Math.round(offset / 1000)
    if (isOff) log.warn({ seconds }, 'the clock of this machine is off: see to its time service')
    else log.info({ seconds }, 'the clock of this machine is right again')
  }
  // That the database is away is told elsewhere.
  return startRhythm(TIME_MS, look, () => {})
}

/** Gateways hear replies and receipts in every role: webhooks arrive at the web, sockets at the worker. */
async function startGateways({ deps, log }: Composed, role: Role): Promise<void> {
  // A gateway asks its peer to tell again what could not be kept; why it could not stands in the log only.
  const message = (text: InboundMessage) => hearReply(deps, text).catch(alsoTell(log, 'reply not kept'))
  const receipt = (told: Receipt) => takeReceipt(deps, told).catch(alsoTell(log, 'receipt not kept'))
  const handlers = { message, receipt, keyPressed: hearKeys.bind(null, deps), script: callOf.bind(null, deps) }
  for (const gateway of deps.gateways.values()) {
    if (role !== 'web' || 'callback' in gateway) await gateway.start(handlers)
  }
}

const told = (log: Logger, what: string) => (error: Error) =>
  log.error({ name: error.name, code: 'code' in error ? error.code : undefined }, what)

function alsoTell(log: Logger, what: string): (error: Error) => never {
  return (error) => {
    told(log, what)(error)
    throw error
  }
}

/** How often it is looked whether a clinic's paper is an hour old. */
const PRINTS_MS = 60_000

async function startWorker(config: Config, { deps, log, database, metrics, timing }: Composed): Promise<Worker> {
  // Only one process can have the embedded database, so whoever claimed in it before is gone.
  if (database.kind === 'embedded') await deps.store.read.workers.forgetOthers(deps.worker.id)
  const tell = (what: string) => told(log, what)
  // Without a rhythm of its own, whoever drives the clock sweeps too, and there is nobody else to prove to that one
  // lives.
  const rhythm = config.sweepSeconds > 0
  const stopBeating = rhythm
    ? startHeartbeat(deps, () => (timing ? timing.offset() : 0), tell('heartbeat failed'))
    : undefined
  const sender = createSender(deps, pause)
  const ring = async (job: SendJob): Promise<void> => {
    const early = job.at.getTime() - deps.clock.now().getTime()
    // The queue rings by a clock that is ahead. What is lost by a stop meanwhile the sweep enqueues again.
    if (early > EARLY_MS) return void setTimeout(() => void ring(job).catch(tell('not sent')), early).unref()
    metrics.late(-early / 1000)
    return sender.send(job)
  }
  await deps.queue.start(ring)
  await requeueAll(deps).catch(tell('jobs not enqueued again'))
  await replanChanged(deps).catch(tell('plans not renewed'))
  await closeAllPast(deps).catch(tell('calls about past visits not closed'))
  const sampling = rhythm ? startSampling(deps, tell('figures not kept')) : undefined
  const swept = (seconds: number, succeeded: boolean) => {
    metrics.swept(seconds, succeeded)
    sampling?.swept(seconds)
  }
  const stopSweeping = rhythm
    ? startSweeping(() => sweep(deps), config.sweepSeconds, swept, tell('sweep failed'))
    : undefined
  const { printsDir } = config
  const stopPrinting =
    rhythm && printsDir !== undefined
      ? startRhythm(PRINTS_MS, () => writePrints(deps, printsDir), tell('paper for a day not written'))
      : undefined
  const stopTelling = rhythm ? startTelling(deps, config.secret, tell('schedules not told')) : undefined
  return {
    finish: async () => {
      const own = [stopSweeping?.(), stopPrinting?.(), stopTelling?.(), sampling?.stop()]
      await Promise.all([...own, deps.queue.pause().finally(() => sender.stop())])
    },
    leave: async () => {
      await stopBeating?.()
      await deps.store.read.workers.leave(deps.worker.id)
    },
  }
}

/** A write for the sake of knowing is made so often at most. */
const WRITE_MS = 5_000
/**
 * Changes nothing, and yet is written: a server that only reads refuses the first. A disk that is full refuses the file
 * that the second is sorted in; a row alone would find room in a page that is there already.
 */
const A_WRITE = `set local work_mem = '64kB'; update ${SCHEMA}.schema_floor set needs = needs;
  select count(*) from (select n from generate_series(1, 200) as n order by repeat(md5(n::text), 60)) as sorted`

/** Each store by itself, so that whoever looks knows which is away; and whether the database can be written to. */
function readiness({ deps, database: { records } }: Composed): () => Promise<Readiness> {
  const answers = (call: Promise<unknown>) =>
    Promise.race([
      call.then(
        () => true,
        () => false,
      ),
      pause(2_000, false, { ref: false }),
    ])
  let written = { at: -Infinity, well: Promise.resolve(true) }
  const writes = () => {
    const now = performance.now()
    if (now - written.at > WRITE_MS) written = { at: now, well: answers(records.query(A_WRITE)) }
    return written.well
  }
  return async () => {
    const [database, queue, canWrite] = await Promise.all([
      answers(deps.store.read.clinics.list()),
      deps.queue.ready(),
      writes(),
    ])
    return { database, queue, ...(database && !canWrite && { writes: false }) }
  }
}

async function startWeb(config: Config, composed: Composed, extra?: Router): Promise<Listening> {
  const { deps, log, news, wording, metrics, authSettings } = composed
  const { apiKey } = config
  const ready = readiness(composed)
  const app = createApp({ deps, log, news, wording, metrics, apiKey, authSettings, ready, ...(extra && { extra }) })
  const { url, stop } = await listen(app, config.host, config.port)
  return { url, stop: () => (news.close(), stop()) }
}

/** A worker has no pages; where it is given a port, it tells how it is. */
async function startHealth(config: Config, composed: Composed): Promise<Listening | undefined> {
  if (config.healthPort === undefined) return undefined
  const { deps, metrics, authSettings } = composed
  const sends = () => anythingGoesOut(deps.approvedTexts)
  const app = express().disable('x-powered-by').set('trust proxy', config.proxies)
  const gate = createGate(deps, authSettings, createRules([]))
  app.use(operations({ ready: readiness(composed), sends, metrics, mayMeasure: mayMeasure(gate) }))
  app.use(problemHandler(composed.log))
  return listen(app, config.host, config.healthPort)
}
