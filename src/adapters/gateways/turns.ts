import type { SendOutcome, Turn } from '../../flows/ports/gateway.ts'

/** A message that is claimed waits no longer than this until it is on the wire: what was checked must still hold. */
const SOON_MS = 2_000
/** Timers come late: what they miss of the rate is made up for, as far as this. */
const LATE_MS = 20

/** Certainly not sent, for want of a turn. It says nothing about the peer. */
export const NO_TURN: SendOutcome = { kind: 'throttled', code: 'no-turn', retryAfterMs: SOON_MS }

/** A turn that somebody has: a place on the wire, within the rate. */
export class HeldTurn implements Turn {
  readonly #of: Turns
  #back: ((used: boolean) => void) | undefined
  #used = false

  constructor(of: Turns, back: (used: boolean) => void) {
    this.#of = of
    this.#back = back
  }

  /**
   * To be asked right before writing. Turns may be used sooner after each other than they were given, so it waits a
   * moment where the peer would see more than it allows.
   * @returns false when that would be longer than `mostMs`: then nothing may be written.
   */
  async mayWrite(mostMs = SOON_MS): Promise<boolean> {
    this.#used = await this.#of.apart(mostMs)
    return this.#used
  }

  release(): void {
    const back = this.#back
    this.#back = undefined
    back?.(this.#used)
  }

  /** From here on whoever calls this releases it; undefined when it is none of theirs, or was released. */
  takenOver(by: Turns): HeldTurn | undefined {
    if (by !== this.#of || this.#back === undefined) return undefined
    const own = new HeldTurn(this.#of, this.#back)
    this.#back = undefined
    return own
  }
}

/** Places on the wire, and the pace at which they may be used. Who comes first is served first. */
export class Turns {
  readonly #gapMs: number
  readonly #waiting: ((turn: HeldTurn) => void)[] = []
  #free: number
  #nextAt = 0
  #wireAt = 0
  #timer: NodeJS.Timeout | undefined

  /** @param perSecond undefined: no limit. */
  constructor(places: number, perSecond?: number) {
    this.#free = places
    this.#gapMs = perSecond === undefined ? 0 : 1000 / perSecond
  }

  take(): Promise<HeldTurn>
  /** @returns undefined when `until` came first. */
  take(until: AbortSignal): Promise<HeldTurn | undefined>
  take(until?: AbortSignal): Promise<HeldTurn | undefined> {
    if (until?.aborted) return Promise.resolve(undefined)
    const turn = this.atOnce()
    if (turn) return Promise.resolve(turn)
    return new Promise((resolve) => {
      const over = () => {
        this.#waiting.splice(this.#waiting.indexOf(give), 1)
        resolve(undefined)
      }
      const give = (turn: HeldTurn) => {
        until?.removeEventListener('abort', over)
        resolve(turn)
      }
      until?.addEventListener('abort', over, { once: true })
      this.#waiting.push(give)
      this.#serve()
    })
  }

  /** The turn given, if it is one of these; else one that comes soon, or none. */
  async thisOrSoon(given: Turn | undefined): Promise<HeldTurn | undefined> {
    const own = given instanceof HeldTurn ? given.takenOver(this) : undefined
    return own ?? this.atOnce() ?? this.take(AbortSignal.timeout(SOON_MS))
  }

  /** Waits until the last one written is long enough ago. */
  async apart(mostMs: number): Promise<boolean> {
    const now = performance.now()
    const at = Math.max(now, this.#wireAt)
    if (at - now > mostMs) return false
    this.#wireAt = at + this.#gapMs
    if (at > now) await new Promise((resume) => setTimeout(resume, at - now))
    return true
  }

  /** One that is free this moment; undefined while anybody waits. */
  atOnce(): HeldTurn | undefined {
    return this.#waiting.length === 0 ? this.#turn() : undefined
  }

  /** Serves those who wait, as far as there are places; and again when the rate allows. */
  #serve(): void {
    clearTimeout(this.#timer)
    for (let turn; this.#waiting.length > 0 && (turn = this.#turn());) this.#waiting.shift()!(turn)
    const waits = this.#waiting.length > 0 && this.#free > 0
    if (waits) this.#timer = setTimeout(() => this.#serve(), this.#nextAt - performance.now())
  }

  #turn(): HeldTurn | undefined {
    const now = performance.now()
    if (this.#free === 0 || this.#nextAt > now) return undefined
    const at = Math.max(this.#nextAt, now - LATE_MS)
    const nextAt = at + this.#gapMs
    this.#nextAt = nextAt
    this.#free--
    return new HeldTurn(this, (used) => {
      this.#free++
      // Where nobody has had a turn since, somebody may go in its place.
      if (!used && this.#nextAt === nextAt) this.#nextAt = at
      this.#serve()
    })
  }
}
