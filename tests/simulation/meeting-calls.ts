import type { Message } from '../../src/domain/messages/message.ts'
import type { Pressed } from '../../src/domain/messages/voice/pressed.ts'
import type { Outgoing } from '../../src/flows/ports/gateway.ts'
import { hearKeys } from '../../src/flows/replies/hear-keys.ts'
import type { TestWorld } from '../harness/world.ts'

/** What the keys of a call can say. */
export const KEYS: readonly Pressed[] = [
  { meaning: 'confirm' },
  { meaning: 'cannot-come' },
  { meaning: 'not-started' },
  { meaning: 'period-started' },
  { meaning: 'period-started', daysAgo: 0 },
  { meaning: 'period-started', daysAgo: 1 },
  { meaning: 'choice', choice: 1 },
  { meaning: 'choice', choice: 2 },
  { meaning: 'stop' },
  { meaning: 'wrong-person' },
]
/** A peer may tell of a key as late as this. */
const TOLD_WITHIN_MS = 24 * 3_600_000
const RINGS_MS = 2_000

/** A key that was pressed, and the visit as it stood just before. */
export interface Key {
  phone: string
  bookingId: string
  visitAt: number
  pressed: Pressed
  /** It was the only thing said, of a visit that could be confirmed. */
  confirms: boolean
}

/** Who answers calls with a key: in the latest call about a visit, or as soon as a phone rings next. */
export class Called {
  readonly #world: TestWorld
  readonly #told: (key: Key) => void
  #next: { pressed: Pressed; times: number } | null = null
  #count = 0

  /** @param told of each key, once it has been heard. */
  constructor(world: TestWorld, told: (key: Key) => void) {
    this.#world = world
    this.#told = told
  }

  /** @param times how often the peer tells of it. */
  async press(bookingId: string, pressed: Pressed, times: number): Promise<void> {
    const messages = await this.#world.deps.store.read.messages.ofBooking(bookingId)
    const since = this.#world.clock.now().getTime() - TOLD_WITHIN_MS
    const going = messages.findLast(
      ({ channel, sentAt, phone, code }) =>
        channel === 'voice' && sentAt !== null && sentAt.getTime() > since && phone !== '' && code !== 'in-call',
    )
    if (going) return this.#say(going, pressed, times)
    this.#next = { pressed, times }
  }

  /** A phone rings: whoever waits for it presses a key. */
  async rings({ id }: Outgoing): Promise<void> {
    const message = (await this.#world.deps.store.read.messages.get(id))!
    const next = this.#next
    if (!next || message.bookingId === null) return
    this.#next = null
    this.#world.clock.after(RINGS_MS, () => this.#say(message, next.pressed, next.times))
  }

  async #say({ id, phone, bookingId, gateway }: Message, pressed: Pressed, times: number): Promise<void> {
    const { deps, clock } = this.#world
    const booking = (await deps.store.read.bookings.get(bookingId!))!
    const key = `${id}/${++this.#count}`
    const told = () => hearKeys(deps, { gateway, key, messageId: id, pressed, at: clock.now() })
    await Promise.all(Array.from({ length: times }, told))
    const confirms = pressed.meaning === 'confirm'
    this.#told({ phone, bookingId: bookingId!, visitAt: booking.visitAt.getTime(), pressed, confirms })
  }
}
