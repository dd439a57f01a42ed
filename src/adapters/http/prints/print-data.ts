import { cardOf } from '../../../domain/calls/alike.ts'
import { dateIn, startOfDay } from '../../../domain/local-time.ts'
import { SENT_STATES, UNSENT, type Message } from '../../../domain/messages/message.ts'
import { mayBeFull } from '../../../domain/patients/receiver.ts'
import { addDays } from '../../../domain/preparation/cycle/days.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import { isFree, type Slot } from '../../../domain/visits/slot.ts'
import { renderMessage } from '../../../flows/messages/render-message.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { callsOf, type Card } from '../calls/call-data.ts'
import { grouped } from '../desk/grouped.ts'
import { visitsOf, type Visit } from '../visits/visits-shown.ts'

/** Visits so far ahead may have something that is to be told by the end of tomorrow. */
const DAYS_AHEAD = 15
const OPENING_DAYS = 7
const MOST_VISITS = 3_000
const MOST_CALLS = 1_000
const MOST_OPENINGS = 1_500

/** A message that was still to be sent, with what a person says instead. */
export interface Untold {
  message: Message
  visit: Visit
  words: string
}

export interface PrintedDay {
  date: string
  visits: Visit[]
}

/** What a clinic needs to work on paper for a day. */
export interface ClinicPrint {
  clinic: Clinic
  now: Date
  /** Who printed it. */
  by: string
  /** The rest of today, and tomorrow. */
  days: PrintedDay[]
  cards: Card[]
  /** What is open beyond those on paper. */
  callsLeftOut: number
  /** Of the visits on paper, by visit: what was sent, or is under way. */
  sent: ReadonlyMap<string, Message[]>
  /** Of any visit to come: what falls due by the end of tomorrow, and what was due and has not gone. */
  untold: Untold[]
  openings: Slot[]
}

/** Reads, at one moment, all that goes on a clinic's paper. Nothing of another clinic. */
export async function printOf(deps: Deps, clinic: Clinic, by: string): Promise<ClinicPrint> {
  const now = deps.clock.now()
  const today = dateIn(now, clinic.zone)
  const from = startOfDay(today, clinic.zone)
  const visits = await visitsToCome(deps, clinic, from)
  const messages = await deps.store.read.messages.ofBookings(visits.map(({ booking }) => booking.id))
  const days = [today, addDays(today, 1)].map((date) => {
    const ofDay = visits.filter(({ booking }) => dateIn(booking.visitAt, clinic.zone) === date)
    return { date, visits: ofDay.filter(({ booking }) => booking.outcome === null) }
  })
  return {
    ...{ clinic, now, by, days },
    ...(await openCards(deps, clinic.id, now)),
    sent: grouped(
      messages.filter(({ state }) => SENT_STATES.includes(state)),
      ({ bookingId }) => bookingId!,
    ),
    untold: untoldOf(deps, clinic, visits, messages),
    openings: await freeTimes(deps, clinic, now),
  }
}

/** Ids of whom it shows, for the record of who saw what. */
export function shownOn({ days, cards, untold }: ClinicPrint): string[] {
  const visits = [...days.flatMap((day) => day.visits), ...untold.map(({ visit }) => visit)]
  return [
    ...new Set([
      ...visits.map(({ booking }) => booking.id),
      ...cards.flatMap((card) => card.map(({ followUp }) => followUp.id)),
    ]),
  ]
}

async function visitsToCome(deps: Deps, { id, zone }: Clinic, from: Date): Promise<Visit[]> {
  const to = startOfDay(addDays(dateIn(from, zone), DAYS_AHEAD), zone)
  return visitsOf(
    deps,
    await deps.store.read.bookings.list({ clinicId: id, state: 'booked', from, to, limit: MOST_VISITS }),
  )
}

async function openCards(
  deps: Deps,
  clinicId: string,
  now: Date,
): Promise<Pick<ClinicPrint, 'cards' | 'callsLeftOut'>> {
  const { followUps } = deps.store.read
  const open = await followUps.list({ clinicId, unplacedToo: true, open: true, limit: MOST_CALLS })
  const all = [...(await followUps.countOpen(clinicId)).values()].reduce((sum, count) => sum + count, 0)
  // Whatever else is urgent: an alarm stands first.
  const alarmsFirst = open.toSorted((a, b) => Number(b.reason === 'alarm') - Number(a.reason === 'alarm'))
  const calls = await callsOf({ deps, now }, alarmsFirst)
  return {
    cards: [...grouped(calls, ({ followUp }) => cardOf(followUp)).values()] as Card[],
    callsLeftOut: Math.max(0, all - open.length),
  }
}

function untoldOf(deps: Deps, clinic: Clinic, visits: readonly Visit[], messages: readonly Message[]): Untold[] {
  const now = deps.clock.now()
  const end = startOfDay(addDays(dateIn(now, clinic.zone), 2), clinic.zone)
  const visitOf = new Map(visits.map((visit) => [visit.booking.id, visit]))
  return messages
    .filter(({ state, sendAt, notAfter }) => UNSENT.includes(state) && sendAt < end && notAfter > now)
    .toSorted((a, b) => a.notAfter.getTime() - b.notAfter.getTime() || a.id.localeCompare(b.id))
    .map((message) => {
      const visit = visitOf.get(message.bookingId!)!
      return { message, visit, words: wordsFor(deps, clinic, message, visit) }
    })
}

/**
 * What a person says, in the language of the patient: all of it where the patient may hear all of it, since nobody else
 * listens. The address of a private page is for the patient alone, and never on paper.
 */
function wordsFor(deps: Deps, clinic: Clinic, message: Message, { booking, patient }: Visit): string {
  const onPaper: Deps = { ...deps, pageOf: () => '(private page)' }
  const detail = mayBeFull(patient) ? 'full' : message.detail
  const around = { booking, patient, clinic, zone: booking.zone }
  return renderMessage(onPaper, { ...message, channel: 'sms', detail }, around).text
}

async function freeTimes({ store }: Deps, { id, zone }: Clinic, now: Date): Promise<Slot[]> {
  const to = startOfDay(addDays(dateIn(now, zone), OPENING_DAYS + 1), zone)
  const slots = await store.read.slots.list({
    ...{ clinicId: id, from: now, to, notBusy: now, limit: MOST_OPENINGS },
    states: ['free', 'held'],
  })
  return slots.filter((slot) => isFree(slot, now))
}
