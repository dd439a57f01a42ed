import type { Chance } from '../../infra/chaos/random.ts'
import { amendBooking, cancelBooking, type Amendment } from '../../src/flows/visits/amend-booking.ts'
import { bookVisit, clinicOf } from '../../src/flows/visits/book-visit.ts'
import type { BookingRequest, NewlyBooked } from '../../src/flows/visits/booking-request.ts'
import type { InboundMessage } from '../../src/flows/ports/gateway.ts'
import { addOpenings } from '../../src/flows/visits/manage-openings.ts'
import { settleMove } from '../../src/flows/visits/move-visit.ts'
import { withIdempotencyKey } from '../../src/flows/visits/idempotency.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'
import { enqueueJobsSoon } from '../../src/flows/messages/enqueue-due.ts'
import { CLINIC } from '../harness/world.ts'

const DAY = 86_400_000
const TEXTS = [
  'period started today',
  '1',
  'yes',
  'STOP',
  'can I use tampons?',
  'my period started yesterday',
  'cannot come',
]
/** Fewer than patients: some share a telephone. */
const PHONES = 20

export interface ClinicParts {
  chance: Chance
  now(): Date
  begin(label: string, flow: () => Promise<unknown>): void
  /** Asks some machine until it answers. */
  insist<T>(flow: (deps: Deps) => Promise<T>): Promise<T>
  phones(): string[]
  hear(heard: InboundMessage): Promise<void>
}

type Deed = () => void

/** What the desk and the patients do, by chance. */
export class Clinic {
  /** Bookings that were acknowledged, by their key. */
  readonly booked = new Map<string, string>()
  readonly #parts: ClinicParts
  #asked = 0
  #texts = 0

  constructor(parts: ClinicParts) {
    this.#parts = parts
  }

  /** The deeds of one hour. @param waiting offers that wait for the desk's word */
  deeds(booking: boolean, waiting: readonly string[]): Deed[] {
    const { chance } = this.#parts
    const deeds: Deed[] = []
    if (booking && chance.happens(0.5)) deeds.push(() => this.#bookSome())
    if (chance.happens(0.15)) deeds.push(() => this.#addOpenings())
    for (let n = 0; n < 3; n++) if (chance.happens(0.25)) deeds.push(() => this.#write())
    if (chance.happens(0.25))
      deeds.push(() => this.#change('amend', (deps, id) => amendBooking(deps, id, this.#amendment())))
    if (chance.happens(0.05)) deeds.push(() => this.#change('cancel', (deps, id) => cancelBooking(deps, id, 'desk')))
    for (const id of waiting)
      if (chance.happens(0.5))
        deeds.push(() => this.#begin('approve', (deps) => settleMove(deps, id, chance.happens(0.7), 'desk')))
    return deeds
  }

  #begin(label: string, flow: (deps: Deps) => Promise<unknown>): void {
    this.#parts.begin(label, () => this.#parts.insist(flow))
  }

  /** Now and then two want the same time at once, or one press of a button is sent twice. */
  #bookSome(): void {
    const { chance } = this.#parts
    const visit = this.#time(2, 4)
    const request = this.#request(visit)
    this.#book(request)
    if (chance.happens(0.1)) this.#book(request)
    if (chance.happens(0.1)) this.#book(this.#request(visit))
  }

  #request(visit: string): { key: string; request: BookingRequest } {
    const { chance, now } = this.#parts
    const n = this.#asked++
    const lmp = new Date(now().getTime() - chance.between(3, 26) * DAY).toISOString().slice(0, 10)
    const patient = {
      name: `Patient ${n}`,
      phone: `+1782555${String(100 + (n % PHONES)).padStart(4, '0')}`,
      language: 'en',
      channel: 'sms',
      detail: 'full',
    } as const
    return {
      key: `k${n}`,
      request: {
        clinic: CLINIC.id,
        protocol: 'liquid-based-cytology',
        visit,
        patient,
        cycle: { status: 'cycling', lmp },
        consent: { recordedBy: 'desk' },
        by: 'desk',
      },
    }
  }

  /** As the API does it. */
  #book({ key, request }: { key: string; request: BookingRequest }): void {
    this.#parts.begin('book', async () => {
      const id = await this.#parts.insist(async (deps) => {
        let booked: NewlyBooked | undefined
        const { body } = await withIdempotencyKey(
          deps,
          key,
          request,
          (tx) => clinicOf(tx, request.clinic),
          async (tx, clinic) => {
            booked = await bookVisit(tx, deps, request, clinic)
            return { status: 201, body: { id: booked.booking.id } }
          },
        )
        if (booked) enqueueJobsSoon(deps, booked.jobs, booked.booking.id)
        return (body as { id: string }).id
      })
      this.booked.set(key, id)
    })
  }

  #addOpenings(): void {
    const at = [this.#time(3, 8), this.#time(3, 8), this.#time(3, 8)]
    this.#begin('openings', (deps) => addOpenings(deps, { clinic: CLINIC.id, at }))
  }

  /** A text comes in, once or twice at the same time. */
  #write(): void {
    const { chance, now, phones, begin, hear } = this.#parts
    const known = phones()
    if (known.length === 0) return
    const heard = {
      gateway: 'pocket',
      key: `t${this.#texts++}`,
      from: chance.one(known),
      text: chance.one(TEXTS),
      at: now(),
    }
    for (let times = chance.between(1, 2); times > 0; times--) begin('reply', () => hear(heard))
  }

  #change(label: string, change: (deps: Deps, id: string) => Promise<unknown>): void {
    const ids = [...this.booked.values()]
    if (ids.length === 0) return
    const id = this.#parts.chance.one(ids)
    this.#begin(label, (deps) => change(deps, id))
  }

  #amendment(): Amendment {
    const { chance, now } = this.#parts
    const lmp = new Date(now().getTime() - chance.between(3, 26) * DAY).toISOString().slice(0, 10)
    return chance.one<Amendment>([
      { visit: this.#time(2, 5), by: 'desk' },
      { cycle: { status: 'cycling', lmp }, by: 'desk' },
      { patient: { detail: 'discreet' }, by: 'desk' },
    ])
  }

  #time(fromDay: number, toDay: number): string {
    const { chance, now } = this.#parts
    const day = new Date(now().getTime() + chance.between(fromDay, toDay) * DAY).toISOString().slice(0, 10)
    return `${day}T${String(chance.between(8, 17)).padStart(2, '0')}:${String(chance.between(0, 5) * 10).padStart(2, '0')}`
  }
}
