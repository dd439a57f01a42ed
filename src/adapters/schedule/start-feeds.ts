import type { Logger } from 'pino'
import type { Config } from '../../config.ts'
import type { Deps } from '../../flows/ports/deps.ts'
import type { Metrics } from '../metrics/metrics.ts'
import { answering } from './hl7/answering.ts'
import { startListener } from './hl7/listener.ts'

type Stop = () => Promise<void>
type Around = { deps: Deps; log: Logger; metrics: Pick<Metrics, 'feeds'> }
/** Starts one way in, if the settings ask for it. */
type Starter = (config: Pick<Config, 'mllp'>, around: Around) => Promise<Stop | undefined>

const mllp: Starter = async (config, { deps, log, metrics: { feeds: metrics } }) => {
  if (!config.mllp) return undefined
  const { port, stop } = await startListener(config.mllp, answering({ deps, log, metrics }), { log, metrics })
  log.info({ host: config.mllp.host, port, tls: config.mllp.cert !== undefined }, 'HL7 messages are taken over MLLP')
  return stop
}

const STARTERS: readonly Starter[] = [mllp]

/**
 * Starts every way in which a clinic's own schedule comes by itself.
 * @returns how to stop them all: what is in hand is finished and answered
 * @throws what keeps one from starting; those before it are stopped
 */
export async function startFeeds(config: Pick<Config, 'mllp'>, around: Around): Promise<Stop> {
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
