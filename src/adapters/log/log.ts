import { AsyncLocalStorage } from 'node:async_hooks'
import { pino, type DestinationStream, type Logger } from 'pino'

/** Id of the request that whatever runs now is done for. */
const current = new AsyncLocalStorage<string | undefined>()

/**
 * The service's log: one JSON line for each thing that happened, with ids and never names, numbers or words. What is
 * done for a request says for which, however deep it is written.
 *
 * @param to where the lines go; by default the standard output.
 */
export function createLog(level: string, to?: DestinationStream): Logger {
  const options = { level, base: null, mixin: ofRequest }
  return to ? pino(options, to) : pino(options)
}

function ofRequest(): { request?: string } {
  const request = current.getStore()
  return request === undefined ? {} : { request }
}

/** Id of the request that this is done for, if for one. */
export const requestNow = (): string | undefined => current.getStore()

/** Does `work`; what it logs, and whatever it sets going, belongs to the request of this id, or to none. */
export function forRequest<T>(id: string | undefined, work: () => T): T {
  return current.run(id, work)
}
