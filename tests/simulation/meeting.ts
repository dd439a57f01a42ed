import fc from 'fast-check'
import { Failure } from '../../src/domain/failure.ts'
import type { CycleHistory } from '../../src/domain/preparation/cycle/history.ts'
import { PURPOSE_NAMES } from '../../src/domain/visits/purpose.ts'
import { BECAUSE } from '../../src/domain/visits/outcome.ts'
import { correctReading } from '../../src/flows/replies/correct-reading.ts'
import { amendBooking, cancelBooking, type Amendment } from '../../src/flows/visits/amend-booking.ts'
import { recordOutcome } from '../../src/flows/visits/record-outcome.ts'
import { retain } from '../../src/flows/patients/retention.ts'
import { hearOnPage, type PageAnswer } from '../../src/flows/replies/hear-on-page.ts'
import { closeDay } from '../../src/flows/visits/close-day.ts'
import { withdrawConsent } from '../../src/flows/patients/withdraw-consent.ts'
import { TestWorld } from '../harness/world.ts'
import { Called, KEYS, type Key } from './meeting-calls.ts'
import { MortalWorker, type Death } from './meeting-worker.ts'

/**
 * Few people, many meetings: four patients at three numbers and two clinics, where two share a number and one number is
 * known to both clinics. What an independent model remembers of them is compared with what the service did after each
 * deed. Invented people at numbers reserved for fiction.
 */
const START = '2026-03-09T13:00:00Z'
const NUMBERS = ['+17825550101', '+17825550102', '+17825550103'] as const
const PEOPLE = [
  { name: 'Ada Fenwick', clinic: 'harbour', number: 0 },
  { name: 'Bea Fenwick', clinic: 'harbour', number: 0 },
  { name: 'Cleo Marsh', clinic: 'harbour', number: 1 },
  { name: 'Dee Marsh', clinic: 'ridge', number: 1 },
] as const
const MOST_VISITS = 6
const DAY_MS = 86_400_000

const TEXTS = [
  'my period started today',
  'my period has not started',
  'still bleeding',
  "I can't come that day",
  '1',
  '2',
  'yes',
  'I used a cream last night',
  'can I have a bath?',
  "I'm pregnant",
  'soaking a pad every hour',
  'I need an interpreter',
  'hmm maybe',
  'STOP',
  'START',
] as const
const CYCLES: readonly CycleHistory[] = [
  { status: 'no-periods' },
  { status: 'unknown' },
  { status: 'cycling', lmp: '2026-02-20', usualCycleDays: 28 },
  { status: 'cycling', lmp: '2026-03-04', usualCycleDays: 31 },
]
const MEANINGS = ['thanks', 'unclear', 'confirm', 'cannot-come'] as const

/** What the model remembers: whose number is which, and which numbers want nothing. */
export interface Model {
  /** By booking, in the order in which they were made. */
  visits: { id: string; person: number }[]
  numbers: string[]
  /** Since when. */
  refused: Map<string, Date>
  /** Bookings that somebody overbooked on purpose. */
  overbooked: Set<string>
  /** Who asked for discreet texts: nobody takes that back. */
  discreet: Set<number>
  /** What was said by key and not looked at yet. */
  pressed: Key[]
}

export interface Real {
  world: TestWorld
  /** Messages looked at so far, by id: each is judged once, when it has been sent. */
  judged: Set<string>
  worker: MortalWorker
  called: Called
}

export async function setUp(databaseUrl?: string): Promise<{ model: Model; real: Real }> {
  const world = await TestWorld.create(START, databaseUrl)
  await world.putClinic({}, 'ridge')
  await world.openings(...[9, 10, 11, 12].map((day) => `2026-03-${day + 9}T09:00`))
  const numbers = PEOPLE.map(({ number }) => NUMBERS[number])
  const model: Model = {
    ...{ visits: [], numbers, refused: new Map(), pressed: [] },
    ...{ overbooked: new Set(), discreet: new Set() },
  }
  const called = new Called(world, (key) => said(model, world, key))
  const worker = await MortalWorker.start(world, called)
  return { model, real: { world, judged: new Set(), worker, called } }
}

/** One thing that somebody does. `expect` what the model remembers of it. */
type Deed =
  | ({ do: 'book'; person: number; day: number; cycle: number; purpose: number } & Record<
      'consent' | 'overbook' | 'voice',
      boolean
    >)
  | { do: 'amend'; visit: number; what: number; day: number }
  | { do: 'text'; number: number; text: number }
  | { do: 'correct'; number: number; meaning: number }
  | { do: 'cancel'; visit: number }
  | { do: 'withdraw'; visit: number }
  | { do: 'end'; visit: number; because: number }
  | { do: 'page'; visit: number; answer: number }
  | { do: 'press'; visit: number; key: number; times: number }
  | ({ do: 'die' } & Death)
  | { do: 'open'; day: number }
  | { do: 'close'; day: number }
  | { do: 'retain' }
  | { do: 'pass'; hours: number }
  | { do: 'both'; one: Deed; other: Deed }

const upTo = (most: number) => fc.nat({ max: most })
const single = fc.oneof(
  {
    weight: 4,
    arbitrary: fc.record({
      do: fc.constant('book' as const),
      person: upTo(3),
      day: upTo(20),
      cycle: upTo(3),
      purpose: upTo(9),
      consent: fc.boolean(),
      overbook: fc.boolean(),
      voice: fc.boolean(),
    }),
  },
  {
    weight: 4,
    arbitrary: fc.record({ do: fc.constant('amend' as const), visit: upTo(5), what: upTo(9), day: upTo(20) }),
  },
  {
    weight: 7,
    arbitrary: fc.record({ do: fc.constant('text' as const), number: upTo(2), text: upTo(TEXTS.length - 1) }),
  },
  { weight: 2, arbitrary: fc.record({ do: fc.constant('correct' as const), number: upTo(2), meaning: upTo(3) }) },
  { weight: 1, arbitrary: fc.record({ do: fc.constant('cancel' as const), visit: upTo(5) }) },
  { weight: 1, arbitrary: fc.record({ do: fc.constant('withdraw' as const), visit: upTo(5) }) },
  { weight: 1, arbitrary: fc.record({ do: fc.constant('end' as const), visit: upTo(5), because: upTo(6) }) },
  { weight: 3, arbitrary: fc.record({ do: fc.constant('page' as const), visit: upTo(5), answer: upTo(7) }) },
  {
    weight: 6,
    arbitrary: fc.record({
      ...{ do: fc.constant('press' as const), visit: upTo(5), key: upTo(KEYS.length - 1) },
      times: fc.constantFrom(1, 2),
    }),
  },
  {
    weight: 3,
    arbitrary: fc.record({
      do: fc.constant('die' as const),
      handedOver: fc.boolean(),
      canLookUp: fc.boolean(),
      hours: fc.constantFrom(0, 0, 1, 12),
    }),
  },
  { weight: 1, arbitrary: fc.record({ do: fc.constant('open' as const), day: upTo(20) }) },
  { weight: 1, arbitrary: fc.record({ do: fc.constant('close' as const), day: upTo(20) }) },
  { weight: 1, arbitrary: fc.record({ do: fc.constant('retain' as const) }) },
  { weight: 4, arbitrary: fc.record({ do: fc.constant('pass' as const), hours: fc.constantFrom(1, 6, 24, 60) }) },
)
/** Sequences of deeds, some of them at the same time. */
export const deeds: fc.Arbitrary<Deed[]> = fc.array(
  fc.oneof(
    { weight: 6, arbitrary: single },
    { weight: 1, arbitrary: fc.record({ do: fc.constant('both' as const), one: single, other: single }) },
  ),
  { minLength: 6, maxLength: 22 },
) as fc.Arbitrary<Deed[]>

/** Does one deed; a refusal that the service words is none of its faults. */
export async function carryOut(model: Model, real: Real, deed: Deed): Promise<void> {
  try {
    await deedOf(model, real, deed)
  } catch (error) {
    if (!(error instanceof Failure)) throw error
  }
}

async function deedOf(model: Model, real: Real, deed: Deed): Promise<void> {
  const { world, worker, called } = real
  const { deps } = world
  const visitAt = 'visit' in deed ? model.visits[deed.visit % Math.max(1, model.visits.length)] : undefined
  switch (deed.do) {
    case 'book':
      return book(model, world, deed)
    case 'amend':
      return visitAt && amend(model, world, visitAt, deed)
    case 'text': {
      const [number, text] = [NUMBERS[deed.number]!, TEXTS[deed.text]!]
      await world.pocket.reply(number, text)
      if (text === 'STOP') refuse(model, number, world.clock.now())
      if (text === 'START') model.refused.delete(number)
      return
    }
    case 'correct': {
      const replies = await deps.store.read.replies.fromPhone(NUMBERS[deed.number]!, new Date(0))
      const last = replies.findLast(({ text }) => text !== 'STOP' && text !== 'START')
      if (last) await correctReading(deps, last.id, { meaning: MEANINGS[deed.meaning]!, by: 'desk' })
      return
    }
    case 'cancel':
      return visitAt && void (await cancelBooking(deps, visitAt.id, 'desk'))
    case 'withdraw': {
      const booking = visitAt && (await deps.store.read.bookings.get(visitAt.id))
      return booking && void (await withdrawConsent(deps, booking.patientId, 'sms'))
    }
    case 'end': {
      const because = BECAUSE[deed.because] ?? null
      const kind = because === null ? 'collected' : 'not-collected'
      return visitAt && void (await recordOutcome(deps, visitAt.id, { kind, because, by: 'clinician' }))
    }
    case 'page':
      return visitAt && answerOnPage(world, visitAt.id, deed.answer)
    case 'press':
      return visitAt && called.press(visitAt.id, KEYS[deed.key]!, deed.times)
    case 'die':
      return worker.dieAtNext(deed)
    case 'open':
      return void (await world.openings(dayAt(world, deed.day, 9), dayAt(world, deed.day, 16)))
    case 'close': {
      const from = new Date(world.clock.now().getTime() + deed.day * DAY_MS)
      return void (await closeDay(deps, 'harbour', { from, to: new Date(from.getTime() + DAY_MS) }))
    }
    case 'retain':
      return void (await retain(deps, KEPT))
    case 'pass':
      return worker.pass(deed.hours)
    case 'both':
      await Promise.all([carryOut(model, real, deed.one), carryOut(model, real, deed.other)])
  }
}

/** From the first word on. */
const refuse = ({ refused }: Model, number: string, at: Date) => refused.set(number, refused.get(number) ?? at)

function said(model: Model, world: TestWorld, key: Key): void {
  model.pressed.push(key)
  const { meaning } = key.pressed
  if (meaning === 'stop' || meaning === 'wrong-person') refuse(model, key.phone, world.clock.now())
}

/** As short as a site may set it. */
const KEPT = { cycleDays: 1, textDays: 1, auditDays: 30 }

async function answerOnPage(world: TestWorld, id: string, answer: number): Promise<void> {
  const today = world.clock.now().toISOString().slice(0, 10)
  const offer = await world.deps.store.read.offers.pending(id)
  const sure = { confidence: 1, words: [] }
  const answers: PageAnswer[] = [
    { reading: { meaning: 'period-started', startedOn: today, ...sure } },
    { reading: { meaning: 'not-started', ...sure } },
    { reading: { meaning: 'cannot-come', ...sure } },
    { reading: { meaning: 'confirm', ...sure } },
    ...(offer?.choices ?? []).map(({ slotId }) => ({ reading: { meaning: 'choice' as const, ...sure }, slotId })),
  ]
  await hearOnPage(world.deps, id, answers[answer % answers.length]!)
}

const dayAt = (world: TestWorld, days: number, hour: number) => {
  const date = new Date(world.clock.now().getTime() + days * DAY_MS).toISOString().slice(0, 10)
  return `${date}T${String(hour).padStart(2, '0')}:00`
}

async function book(model: Model, world: TestWorld, deed: Extract<Deed, { do: 'book' }>): Promise<void> {
  if (model.visits.length >= MOST_VISITS) return
  const { name, clinic } = PEOPLE[deed.person]!
  const { booking } = await world.book({
    ...{ name, clinic, phone: model.numbers[deed.person]!, visit: dayAt(world, deed.day, 10 + deed.person) },
    channel: deed.voice ? 'voice' : 'sms',
    // Two clinicians for four people: some meet.
    clinician: `list ${deed.person % 2}`,
    minutes: 30 + 60 * (deed.day % 3),
    overbook: deed.overbook,
    cycle: CYCLES[deed.cycle]!,
    purpose: PURPOSE_NAMES[deed.purpose] ?? 'routine',
    consent: deed.consent ? { recordedBy: 'desk' } : null,
  })
  model.visits.push({ id: booking.id, person: deed.person })
  // The newest word counts: it was booked with full texts.
  model.discreet.delete(deed.person)
  if (deed.overbook) model.overbooked.add(booking.id)
}

async function amend(
  model: Model,
  world: TestWorld,
  { id, person }: Model['visits'][number],
  { what, day }: Extract<Deed, { do: 'amend' }>,
): Promise<void> {
  const changes: Omit<Amendment, 'by'>[] = [
    { visit: dayAt(world, day, 14) },
    { patient: { phone: NUMBERS[2] } },
    { patient: { phone: NUMBERS[PEOPLE[person]!.number] } },
    { patient: { detail: 'discreet' } },
    { cycle: CYCLES[day % CYCLES.length] },
    { purpose: PURPOSE_NAMES[day % PURPOSE_NAMES.length] },
    { dueBy: dayAt(world, day, 10).slice(0, 10) },
    { consent: { recordedBy: 'desk' } },
    { minutes: 30 + 15 * day },
    { visit: dayAt(world, day, 12), overbook: true },
  ]
  const change = changes[what]!
  await amendBooking(world.deps, id, { ...change, by: 'desk' })
  if (change.patient?.phone) model.numbers[person] = change.patient.phone
  if (change.patient?.detail) model.discreet.add(person)
  if (change.overbook) model.overbooked.add(id)
}
