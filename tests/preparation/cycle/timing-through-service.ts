import { DateTime } from 'luxon'
import type { FollowUp } from '../../../src/domain/calls/follow-up.ts'
import { calendarDate, dayNumber } from '../../../src/domain/preparation/cycle/days.ts'
import { withOffset } from '../../../src/domain/local-time.ts'
import { amendBooking } from '../../../src/flows/visits/amend-booking.ts'
import { addOpenings } from '../../../src/flows/visits/manage-openings.ts'
import { CLINIC, TestWorld } from '../../harness/world.ts'
import { chanceFrom, historyOf, LMP, meanOf, onDaysOneToFive, type Case, type Chance } from './simulated-patients.ts'

export interface ServiceSetting {
  told: Parameters<typeof historyOf>[1]
  /** Whether the front desk moves each visit to the best opening of the answer to its booking. */
  deskMoves: boolean
  /** Share of patients who answer the question about the period. */
  answering: number
  seed?: number
}

/** Per visit, shares of 0..1 unless said otherwise. */
export interface ServiceOutcome {
  forgotten: number
  afterBooking: number
  left: number
  movedAtBooking: number
  /** Days between the first time and the one after booking. */
  shiftDays: number
  movedLater: number
  questions: number
  /** Texts of any kind that reached the patient. */
  texts: number
  /** Calls about timing that were open for more than an hour: what the desk mends at the booking is none. */
  calls: number
}

interface Visit {
  woman: Case
  phone: string
  bookingId: string
  first: number
  booked: number
  answers: boolean
  /** Texts that this patient has read. */
  read: number
}

const TIMING_CALLS: ReadonlySet<string> = new Set([
  'badly-timed',
  'unanswered-check',
  'ask-lmp',
  'contradiction',
  'no-opening',
])
const HOUR = 10
const HOUR_MS = 3_600_000

const isLeft = ({ reason, openedAt, closedAt }: FollowUp) =>
  TIMING_CALLS.has(reason) && (closedAt === null || closedAt.getTime() - openedAt.getTime() > HOUR_MS)

/**
 * Books visits without regard to the cycle, each at a clinic of its own with an opening each weekday within two weeks,
 * and lets the service run on virtual time: its answers to bookings, its questions, the replies that patients write to
 * them in English and in truth, its offers, of which they take the first, until every visit is over.
 */
export async function runTiming(cases: readonly Case[], setting: ServiceSetting): Promise<ServiceOutcome> {
  const world = await TestWorld.create(instantOf(LMP))
  try {
    const planned = cases.flatMap((woman, index) => planOf(woman, chanceFrom((setting.seed ?? 5) + 2 * index)) ?? [])
    const visits: Visit[] = []
    const lastDay = Math.max(...planned.map(({ visit }) => visit)) + 15
    for (let day = LMP; day <= lastDay; day++) {
      await world.passUntil(instantOf(day), 240)
      for (const each of planned.filter(({ asOf }) => asOf === day))
        visits.push(await book(world, each, setting, visits.length))
      // Once questions have been put, and again for offers that came of the answers.
      for (const hour of [13, 18]) {
        await world.passUntil(instantOf(day, hour), 240)
        for (const visit of visits) await answer(world, visit, day)
      }
    }
    return await outcomeOf(world, visits)
  } finally {
    await world.close()
  }
}

const instantOf = (day: number, hour = HOUR) =>
  DateTime.fromISO(calendarDate(day), { zone: CLINIC.zone }).set({ hour }).toUTC().toISO()!

interface Planned {
  woman: Case
  asOf: number
  visit: number
  chance: Chance
}

function planOf(woman: Case, chance: Chance): Planned | null {
  const asOf = LMP + Math.floor(chance() * 28)
  // Who books tells the last period that has begun by then.
  if (woman.starts[1]! <= asOf) return null
  return { woman, asOf, visit: asOf + 6 + Math.floor(chance() * 45), chance }
}

async function book(world: TestWorld, { woman, asOf, visit, chance }: Planned, setting: ServiceSetting, index: number) {
  const clinic = `c-${index}`
  await world.putClinic({}, clinic)
  const days = Array.from({ length: 29 }, (_, i) => visit - 14 + i).filter((day) => day > asOf && day !== visit)
  // 2 March 2026 is a Monday.
  const weekdays = days.filter((day) => (((day - LMP) % 7) + 7) % 7 < 5)
  await addOpenings(world.deps, { clinic, at: weekdays.map((day) => `${calendarDate(day)}T09:00`) })
  const phone = `+1782555${String(1000 + index).padStart(4, '0')}`
  const cycle = historyOf(woman, setting.told)
  const { booking, openings } = await world.book({ clinic, phone, visit: `${calendarDate(visit)}T09:00`, cycle })
  const best = setting.deskMoves ? openings.find(({ rank }) => rank === 1) : undefined
  const at = best?.opening.startsAt
  if (at) await amendBooking(world.deps, booking.id, { visit: withOffset(at, CLINIC.zone), by: 'desk' })
  const booked = at ? dayOf(at) : visit
  return { woman, phone, bookingId: booking.id, first: visit, booked, answers: chance() < setting.answering, read: 0 }
}

const dayOf = (at: Date) => dayNumber(withOffset(at, CLINIC.zone).slice(0, 10))

/** What this patient writes to the texts that have come since. */
async function answer(world: TestWorld, visit: Visit, day: number): Promise<void> {
  if (!visit.answers) return
  const texts = world.textsTo(visit.phone)
  const news = texts.slice(visit.read)
  visit.read = texts.length
  if (news.some((text) => /period (started|begun)\?|if your period has begun/.test(text))) {
    const last = visit.woman.starts.findLast((start) => start <= day)!
    const said = last > LMP ? DateTime.fromISO(calendarDate(last)).toFormat('d LLLL') : 'NOT YET'
    await world.reply(visit.phone, said)
  }
  if (
    !world
      .textsTo(visit.phone)
      .slice(visit.read)
      .some((text) => text.includes('Open times:'))
  )
    return
  await world.reply(visit.phone, '1')
  visit.read = world.textsTo(visit.phone).length
}

async function outcomeOf(world: TestWorld, visits: readonly Visit[]): Promise<ServiceOutcome> {
  const { read } = world.deps.store
  const ends = await Promise.all(
    visits.map(async (visit) => {
      const booking = (await read.bookings.get(visit.bookingId))!
      const messages = await read.messages.ofBooking(visit.bookingId)
      const calls = await read.followUps.list({ bookingId: visit.bookingId, limit: 50 })
      const end = dayOf(booking.visitAt)
      return {
        ...visit,
        end,
        texts: world.textsTo(visit.phone).length,
        questions: messages.filter(({ kind, sentAt }) => kind.startsWith('cycle-check') && sentAt !== null).length,
        calls: calls.filter(isLeft).length,
      }
    }),
  )
  const mean = (of: (end: (typeof ends)[number]) => number | boolean) => meanOf(ends.map((end) => Number(of(end))))
  return {
    forgotten: mean(({ woman, first }) => onDaysOneToFive(woman, first)),
    afterBooking: mean(({ woman, booked }) => onDaysOneToFive(woman, booked)),
    left: mean(({ woman, end }) => onDaysOneToFive(woman, end)),
    movedAtBooking: mean(({ first, booked }) => first !== booked),
    shiftDays: mean(({ first, booked }) => Math.abs(first - booked)),
    movedLater: mean(({ booked, end }) => booked !== end),
    questions: mean(({ questions }) => questions),
    texts: mean(({ texts }) => texts),
    calls: mean(({ calls }) => calls),
  }
}
