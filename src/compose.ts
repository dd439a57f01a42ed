import { randomBytes } from 'node:crypto'
import { setTimeout as pause } from 'node:timers/promises'
import type { Logger } from 'pino'
import { createHeadNotes, notePlace } from './adapters/audit-notes/head-notes.ts'
import { createProvider } from './adapters/sign-in/oidc.ts'
import { databaseTime, type DatabaseClock } from './adapters/clock/database-clock.ts'
import { realTime, type Timekeeper } from './adapters/clock/real-time.ts'
import { openEmbedded } from './adapters/db/embedded.ts'
import type { Database } from './adapters/db/pool.ts'
import { openServer } from './adapters/db/server.ts'
import { openStore } from './adapters/db/store.ts'
import { openGatewayMemory } from './adapters/db/gateway-memory.ts'
import { openAccessStore } from './adapters/db/access/access-store.ts'
import { codeOf } from './adapters/faults/database-trouble.ts'
import { faultWords } from './adapters/faults/fault-words.ts'
import { onceReachable } from './adapters/db/reachable.ts'
import { retryConflicts } from './adapters/db/retry-conflicts.ts'
import type { GatewayDeps } from './adapters/gateways/create-gateway.ts'
import { gatewaysOf } from './adapters/gateways/described-folder.ts'
import { feedsFrom, type Described } from './adapters/schedule/feeds-folder.ts'
import type { GateSettings } from './adapters/http/access/identify.ts'
import { ChangeFeed } from './adapters/http/change-feed.ts'
import { pageMaker } from './adapters/http/private-page/page-address.ts'
import { createPocketGateway } from './adapters/gateways/pocket/pocket-gateway.ts'
import { homeOf, version } from './adapters/home.ts'
import { fractions, idMaker, pooled } from './adapters/ids.ts'
import { createLog } from './adapters/log/log.ts'
import { createBullQueue } from './adapters/queue/bullmq-queue.ts'
import { databaseQueueStore, redisQueueStore } from './adapters/queue/queue-store.ts'
import { createMetrics, type Metrics } from './adapters/metrics/metrics.ts'
import { openTraces } from './adapters/traces/open-traces.ts'
import { loadVocabulary } from './adapters/templates/load-vocabulary.ts'
import { checkLookUpKey, hasSealedData } from './adapters/db/reseal.ts'
import { loadWording, type Wording } from './adapters/templates/load-wording.ts'
import { sealingKeys } from './adapters/vault/key-file.ts'
import { readKeyRing } from './adapters/vault/key-ring.ts'
import { createVault, type Vault } from './adapters/vault/vault.ts'
import { baseOf, type Config } from './config.ts'
import { readReply } from './domain/replies/read-reply.ts'
import type { TextLibrary } from './domain/messages/texts/library.ts'
import { callWriter } from './domain/messages/voice/write-script.ts'
import { renderText } from './domain/messages/texts/render.ts'
import { ApprovalBook, approvedTexts } from './flows/messages/approved-texts.ts'
import type { Gateway } from './flows/ports/gateway.ts'
import type { Feed } from './domain/schedule/feed.ts'
import type { Clock, Deps } from './flows/ports/deps.ts'
import type { JobQueue } from './flows/ports/jobs.ts'

type RandomBytes = (bytes: number) => Uint8Array

/** What simulations, the demo and tests put in place of the real thing. Everything else is as in the service. */
export interface Overrides {
  time?: Timekeeper
  queue?: JobQueue
  random?: RandomBytes
  gateways?: Gateway[]
  feeds?: Feed[]
  /** One that is open already: it outlives a service that a simulation lets crash. */
  database?: Database
  /** Keys other than those in the data folder. */
  vault?: Vault
  /** In memory, gone with the process. */
  inMemory?: boolean
  /** A database that is away is not waited for. */
  atOnce?: boolean
  log?: Logger
  notice?: Deps['notice']
}

export interface Composed {
  deps: Deps
  log: Logger
  database: Database
  vault: Vault
  /** The database's time, where that is another machine's; null = this machine's, or that of a simulation. */
  timing: DatabaseClock | null
  /** Told of every change in this process; live pages listen. */
  news: ChangeFeed
  /** How people and programs sign in to API and pages. */
  authSettings: GateSettings
  metrics: Metrics
  /** Everything that patients read or hear, in every language. */
  wording: Wording
  feedSources: Described['sources']
  close(): Promise<void>
}

const REDIS_REFUSES =
  'Redis refuses the user or the password of REDIS_URL: mend them. Messages go out by the sweep meanwhile, later.'
const NOT_YET = 'the database does not answer yet: trying again'
const KEPT_OVERBOOKED = 'visits overlap at one clinician and are kept as overbooked: see daysix migrate --check'

/** Puts the service together. The only place that constructs adapters. */
export async function compose(config: Config, overrides: Overrides = {}): Promise<Composed> {
  const log = overrides.log ?? createLog(config.logLevel)
  const random = overrides.random ?? pooled(randomBytes)
  const database = overrides.database ?? (await openDatabase(config, overrides))
  const { vault, store, timing, book, wording } = await orClosed(database, openData(config, overrides, database, log))
  const own = overrides.time ?? realTime(log)
  const time = timing ? { ...own, clock: timing } : own
  const metrics = createMetrics(store, time.clock, !overrides.inMemory, timing)
  const outside = { ...time, random: fractions(random), memory: openGatewayMemory(database, vault) }
  const made = overrides.gateways ?? (await orClosed(database, configured(config, outside, log, metrics)))
  const gateways = made.map(metrics.timed)
  const news = new ChangeFeed()
  const tell = overrides.notice ?? ((what, ids) => log.info(ids, what))
  const queue = overrides.queue ?? createQueue(config, database, time.clock, log)
  const { library, phrases, protocols, reviewables } = wording
  const fed = await orClosed(database, feedsFrom(overrides.feeds ?? config.feedsDir, wording))
  const carried = new Set(gateways.flatMap(({ channels }) => channels))
  const newId = idMaker(time.clock, random)
  const instance = newId('w')
  const access = openAccessStore(database, vault)
  const chance = fractions(random)
  const deps: Deps = {
    store: { read: store.read, transact: retryConflicts(store.transact, chance, pause) },
    access: { read: access.read, transact: retryConflicts(access.transact, chance, pause) },
    headNotes: createHeadNotes({ access, clock: time.clock, vault, log, metrics }, notePlace(config, overrides)),
    traces: await openTraces(config.traces, { clock: time.clock, log, version, instance }),
    clock: time.clock,
    newId,
    queue,
    worker: { id: instance, inFlight: new Set(), waiting: new Set(), steady: () => true },
    home: homeOf(database, overrides.inMemory ? null : config.dataDir, time.clock),
    gateways: new Map(gateways.map((gateway) => [gateway.name, gateway])),
    feeds: fed.feeds,
    protocols,
    approvedTexts: approvedTexts(book, { reviewables, carried, allowDrafts: config.allowDrafts }),
    digest: (text) => vault.fingerprint(text),
    seals: vault,
    pageOf: pageMaker(baseOf(config), vault),
    ...language(library),
    calls: callWriter(library, phrases),
    policy: {
      allowDrafts: config.allowDrafts,
      production: config.production,
      horizonHours: config.horizonHours,
      answersADay: config.answersADay,
      retention: config.retention,
    },
    notice: (what, ids) => {
      tell(what, ids)
      news.tell(what, ids)
      metrics.notice(what)
    },
  }
  const authSettings = authSettingsOf(config, vault, log)
  const close = () => deps.traces.stop().then(() => database.close())
  return { deps, log, database, vault, timing, news, authSettings, metrics, wording, feedSources: fed.sources, close }
}

/** What is kept, with its keys and its time, once the database can be reached. */
async function openData(config: Config, overrides: Overrides, database: Database, log: Logger) {
  const patiently = <T>(work: () => Promise<T>) =>
    onceReachable(
      work,
      (error) => log.warn({ code: codeOf(error) ?? 'away', why: faultWords(error).replace('\n', ' ') }, NOT_YET),
      overrides.atOnce,
    )
  const vault = overrides.vault ?? (await openVault(config, overrides, () => patiently(() => hasSealedData(database))))
  const tellOverlaps = (overlaps: number) => log.warn({ overlaps }, KEPT_OVERBOOKED)
  const store = await patiently(() => openStore(database, vault, tellOverlaps))
  await patiently(() => checkLookUpKey(database, vault))
  const timing = overrides.time ? null : await patiently(() => databaseTime(database))
  const book = new ApprovalBook(store.read.approvals)
  await patiently(() => book.refresh())
  const wording = loadWording(book.approvals, { siteFolder: config.siteTemplatesDir })
  return { vault, store, timing, book, wording }
}

/** Without a key, and never in production, the API is open to this machine; the pages too where the demo says so. */
function authSettingsOf(
  { apiKey, production, openDesk, idleMinutes, publicUrl, proxies, alarmCover, oidc }: Config,
  vault: Vault,
  log: Logger,
): GateSettings {
  const open = !production && apiKey === undefined
  if (openDesk && !production) log.warn('demo: pages are open on this machine without sign-in')
  const secure = production || publicUrl?.startsWith('https:') === true
  return {
    apiKey,
    open: { api: open, pages: openDesk && !production },
    idleMs: idleMinutes * 60_000,
    secure,
    proxies,
    cover: alarmCover ?? null,
    ...(oidc && { provider: createProvider(oidc, vault) }),
  }
}

function language(library: TextLibrary): Pick<Deps, 'render' | 'readReply'> {
  const vocabulary = loadVocabulary()
  return {
    render: (request) => {
      const { text, subject, state } = renderText(library, request)
      // Drafts go out only where that is allowed, and then with a mark that nobody can miss.
      return { text: state === 'draft' ? `[draft] ${text}` : text, ...(subject !== undefined && { subject }), state }
    },
    readReply: (text, context) => readReply(text, context, vocabulary),
  }
}

async function openVault(
  config: Config,
  { inMemory, random = randomBytes }: Overrides,
  hasData: () => Promise<boolean>,
): Promise<Vault> {
  if (inMemory && !config.key) return createVault(readKeyRing(Buffer.from(random(32)).toString('base64')))
  return createVault(await sealingKeys(config.key, config.dataDir, hasData))
}

/** What stops the start lets go of the database that was opened for it. */
async function orClosed<T>(database: Database, work: Promise<T>): Promise<T> {
  try {
    return await work
  } catch (error) {
    await database.close()
    throw error
  }
}

function openDatabase({ databaseUrl, dataDir }: Config, { inMemory }: Overrides): Promise<Database> {
  return databaseUrl ? openServer(databaseUrl) : openEmbedded(inMemory ? undefined : dataDir)
}

/** The real alarm clock over whatever stores are configured. */
export function createQueue(config: Config, database: Database, clock: Clock, log: Logger): JobQueue {
  const refused = () => log.error(REDIS_REFUSES)
  const store = config.redisUrl ? redisQueueStore(config.redisUrl, refused) : databaseQueueStore(database)
  const onError = (error: Error, message?: string) =>
    log.warn({ message, name: error.name, code: 'code' in error ? error.code : undefined }, 'queue trouble')
  return createBullQueue({ store, clock, concurrency: config.concurrency, onError })
}

type Outside = Pick<GatewayDeps, 'clock' | 'after' | 'random' | 'memory'>

/**
 * The gateways described in the folder; outside production also the simulated telephone network. That a connection
 * does not stand is told before any message fails.
 */
async function configured(config: Config, outside: Outside, log: Logger, metrics: Metrics) {
  const tell: GatewayDeps['tell'] = (what, facts) => {
    log.warn(facts, what)
    metrics.notice(what)
  }
  const deps = { ...outside, secret: config.secret, callbackUrl: `${baseOf(config)}/gateways`, tell }
  const described = config.gatewaysDir ? await gatewaysOf(config.gatewaysDir, deps) : []
  return config.production ? described : [...described, createPocketGateway(deps)]
}
