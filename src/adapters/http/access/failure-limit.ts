import type { Request, RequestHandler, Response } from 'express'
import { ipKeyGenerator } from 'express-rate-limit'
import { Failure } from '../../../domain/failure.ts'

/** Failures of one address within the time, and how many are too many. Common practice, no source. */
const MOST = 100
const WINDOW_MS = 15 * 60_000
/** More addresses than this at once are not told apart any longer than until the oldest is forgotten. */
const MOST_ADDRESSES = 50_000

interface Counted {
  failures: number
  until: number
}

/** A whole IPv6 network counts as one address: anybody has a large number of them. */
export function addressOf(request: Request): string {
  return ipKeyGenerator(request.ip ?? '')
}

/**
 * Counts wrong keys, passwords and signatures by the address they come from, within this process. Only failures count:
 * whoever is right may come as often as the work asks for.
 */
export class FailureLimit {
  readonly #counted = new Map<string, Counted>()
  readonly #now: () => Date

  constructor(now: () => Date) {
    this.#now = now
  }

  /** @returns seconds for which this address is not listened to; 0 when it is */
  secondsLeft(address: string): number {
    const counted = this.#counted.get(address)
    const left = (counted?.until ?? 0) - this.#now().getTime()
    return counted && counted.failures >= MOST && left > 0 ? Math.ceil(left / 1000) : 0
  }

  add(address: string): void {
    const now = this.#now().getTime()
    const before = this.#counted.get(address)
    const goesOn = before !== undefined && before.until > now
    if (!goesOn) this.#makeRoom(now)
    this.#counted.set(
      address,
      goesOn ? { ...before, failures: before.failures + 1 } : { failures: 1, until: now + WINDOW_MS },
    )
  }

  /** Oldest first, since a map keeps the order in which addresses came. */
  #makeRoom(now: number): void {
    for (const [address, { until }] of this.#counted) {
      if (until > now && this.#counted.size < MOST_ADDRESSES) return
      this.#counted.delete(address)
    }
  }

  /** @throws slow-down where the address has failed too often, before anything of it is looked at */
  check(request: Request, response: Response): void {
    const seconds = this.secondsLeft(addressOf(request))
    if (seconds === 0) return
    response.set('Retry-After', String(seconds))
    throw new Failure('slow-down', {
      message: 'Too many failures. The header Retry-After says in how many seconds to go on.',
    })
  }

  readonly refuse: RequestHandler = (request, response, next) => {
    this.check(request, response)
    next()
  }
}

/** A wrong password or code counts; a form that was not filled in does not. */
export function countFailure({ failures }: { failures: FailureLimit }, request: Request, error: unknown): void {
  if (error instanceof Failure && error.code === 'unauthorized') failures.add(addressOf(request))
}
