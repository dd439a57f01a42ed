import type { Logger } from 'pino'
import type { Config } from '../../config.ts'
import type { Deps } from '../../flows/ports/deps.ts'
import type { Metrics } from '../metrics/metrics.ts'
import { answering } from './hl7/answering.ts'
import { tryAllWaitingAgain } from '../../flows/schedule/try-waiting-again.ts'
import type { FeedSources } from './feed-file.ts'
import { startServer, type Pings } from './fhir-server/poll-server.ts'
import { startListener } from './hl7/listener.ts'
import { startPolling } from './poll-address.ts'
import { startWatching } from './watch-folder.ts'

type Stop = () => Promise<void>
type Settings = Pick<Config, 'mllp' | 'sweepSeconds'>
interface Around {
  deps: Deps
  log: Logger
  metrics: Pick<Metrics, 'feeds'>
  feedSources: ReadonlyMap<string, FeedSources>
  news: Pings
}
/** Starts one way in, if the settings ask for it. */
type Starter = (config: Settings, around: Around) => Promise<Stop | undefined>

const mllp: Starter = async (config, { deps, log, metrics: { feeds: metrics } }) => {
  if (!config.mllp) return undefined
  const { port, stop } = await startListener(config.mllp, answering({ deps, log, metrics }), { log, metrics })
  log.info({ host: config.mllp.host, port, tls: config.mllp.cert !== undefined }, 'HL7 messages are taken over MLLP')
  return stop
}

/** Folders, addresses and servers that are looked at again and again. */
const looking: Starter = async ({ sweepSeconds }, { deps, log, feedSources, news }) => {
  // Without a rhythm of its own, whoever drives the clock looks too.
  if (sweepSeconds === 0) return undefined
  const stops = [...feedSources].flatMap(([feed, { folder, address, server }]) => {
    const onError = (error: Error) => log.error({ feed, name: error.name }, 'a schedule was not taken: tried again')
    return [
      ...(folder === null ? [] : [startWatching(deps, { feed, folder }, onError)]),
      ...(address === null ? [] : [startPolling(deps, { feed, address }, onError)]),
      ...(server === null ? [] : [startServer(deps, feed, server, news, onError)]),
    ]
  })
  return async () => void (await Promise.all(stops.map((stop) => stop())))
}

/** A description may say more than it did when the service stopped. */
const waiting: Starter = async (_config, { deps, log }) => {
  const work = tryAllWaitingAgain(deps).catch((error: Error) =>
    log.error({ name: error.name }, 'what waits of a schedule was not tried again'),
  )
  return () => work
}

const STARTERS: readonly Starter[] = [mllp, looking, waiting]

/**
 * Starts every way in which a clinic's own schedule comes by itself.
 * @returns how to stop them all: what is in hand is finished and answered
 * @throws what keeps one from starting; those before it are stopped
 */
export async function startFeeds(config: Settings, around: Around): Promise<Stop> {
  const stops: Stop[] = []
  const stopAll = async () => void (await Promise.all(stops.map((stop) => stop())))
  try {
    for (const start of STARTERS) {
      const stop = await start(config, around)
      if (stop) stops.push(stop)
    }
  } catch (error) {
    await stopAll()
    throw error
  }
  return stopAll
}
