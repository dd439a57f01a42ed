import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { claimDue } from '../../src/flows/messages/claim-messages.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { writeByHand } from '../../src/flows/messages/write-by-hand.ts'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import type { Booked } from '../../src/flows/visits/booking-request.ts'
import type { Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { TestWorld } from '../harness/world.ts'
import { Wire } from './wire.ts'

// What is on its way when the desk changes something, and comes back. Invented people on virtual time. What must hold
// is the product's own promise: told in time, or on the call list; and nothing to a number that is the patient's no
// more.
let world: TestWorld
let wire: Wire
let people = 10
/** Each test has a week of its own. */
let week = 0
const DAY = 86_400_000
const day = (n: number) =>
  new Date(Date.parse('2026-03-09T13:00:00Z') + (week * 7 + n) * DAY).toISOString().slice(0, 10)
const phone = () => `782 555 01${people}`
const e164 = () => `+178255501${people}`

beforeAll(async () => {
  wire = new Wire()
  world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [wire])
  await world.putClinic({ gateway: 'wire' })
})
afterAll(() => world.close())
beforeEach(async () => {
  week++
  people += 2
  await world.passUntil(`${day(0)}T13:00:00Z`, 360)
})

const PREPARATION = /no sex/i
const isPrep = ({ text }: Outgoing) => PREPARATION.test(text)
const busy = async (): Promise<SendOutcome> => ({ kind: 'later', code: 'busy' })
const book = (changes: object = {}) =>
  world.book({
    name: `Patient ${people}`,
    phone: phone(),
    visit: `${day(4)}T10:00`,
    cycle: { status: 'no-periods' },
    ...changes,
  })
const amend = ({ booking }: Booked, changes: object) => amendBooking(world.deps, booking.id, { ...changes, by: 'desk' })
const callsAbout = async ({ booking }: Booked) =>
  (await world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 50 })).map(
    ({ reason }) => reason,
  )
const MORNING_AFTER = () => `${day(2)}T14:00:00Z` // the mark is at 13:00Z or 14:00Z
const prepsTo = (number: string) => wire.to(number).filter((text) => PREPARATION.test(text))

describe('preparation that comes back from its gateway', () => {
  it('after a name was corrected is tried again', async () => {
    const booked = await book()
    wire.once(isPrep, async () => (await amend(booked, { patient: { name: `Patient ${people} Corrected` } }), busy()))
    await world.passUntil(MORNING_AFTER())
    expect(prepsTo(e164())).toHaveLength(1)
    expect(await callsAbout(booked)).toEqual([])
  })

  it('after the number was corrected goes to the new number alone', async () => {
    const booked = await book()
    const old = e164()
    people++
    wire.once(isPrep, async () => (await amend(booked, { patient: { phone: phone() } }), busy()))
    await world.passUntil(MORNING_AFTER())
    expect(prepsTo(old)).toEqual([])
    expect(prepsTo(e164())).toHaveLength(1)
  })

  it('after the patient asked for discreet texts is discreet', async () => {
    const booked = await book()
    const before = wire.took.length
    wire.once(isPrep, async () => (await amend(booked, { patient: { detail: 'discreet' } }), busy()))
    await world.passUntil(MORNING_AFTER())
    expect(prepsTo(e164())).toEqual([])
    expect(wire.took.slice(before).filter(({ to }) => to === e164())).toHaveLength(2) // the confirmation, and this
    expect(await world.kindsOf(booked.booking.id, 'sent')).toContain('prep')
  })

  it('after a crash, with a plan made anew meanwhile, is sent', async () => {
    const booked = await book()
    await world.passUntil(`${day(1)}T20:30:00Z`)
    const [prep] = (await world.deps.store.read.messages.ofBooking(booked.booking.id)).filter(
      ({ kind }) => kind === 'prep',
    )
    const job = { messageId: prep!.id, revision: prep!.revision, attempt: 0, at: prep!.sendAt }
    const gone = { ...world.deps, worker: { ...world.deps.worker, id: `w_gone${week}`, inFlight: new Set<string>() } }
    await world.deps.store.transact((tx) =>
      tx.messages.move(prep!.id, ['planned', 'queued'], 'queued', { sendAt: world.clock.now() }),
    )
    await world.deps.store.transact((tx) => claimDue(tx, gone, [job], { keys: [], turns: [] }))
    await amend(booked, { patient: { name: `Patient ${people} Corrected` } })
    await world.deps.store.read.workers.leave(gone.worker.id)
    Object.assign(wire, { lookUp: async () => 'never-seen' })
    await world.passUntil(MORNING_AFTER())
    Object.assign(wire, { lookUp: undefined })
    expect(prepsTo(e164())).toHaveLength(1)
  })

  it('as a call that rang in vain, after a name was corrected, is called again', async () => {
    const patient = {
      name: `Patient ${people}`,
      phone: phone(),
      language: 'en',
      channel: 'voice',
      detail: 'full',
    } as const
    const { bookAndRing } = await import('../../src/flows/visits/book-visit.ts')
    const booked = await bookAndRing(world.deps, {
      clinic: 'harbour',
      protocol: 'liquid-based-cytology',
      visit: `${day(4)}T10:00`,
      patient,
      cycle: { status: 'no-periods' },
      consent: { recordedBy: 'desk' },
      by: 'desk',
    })
    await world.passUntil(`${day(1)}T22:00:00Z`)
    const prep = (await world.deps.store.read.messages.ofBooking(booked.booking.id)).find(
      ({ kind }) => kind === 'prep',
    )!
    expect(prep.state).toBe('sent')
    await amend(booked, { patient: { name: `Patient ${people} Corrected` } })
    const before = wire.took.length
    await takeReceipt(world.deps, {
      gateway: 'wire',
      messageId: prep.id,
      state: 'undelivered',
      code: 'no-answer',
      at: world.clock.now(),
    })
    await world.passUntil(MORNING_AFTER())
    const calledAgain = wire.took.slice(before).filter(({ to, channel }) => to === e164() && channel === 'voice').length
    expect(calledAgain + (await callsAbout(booked)).length).toBeGreaterThan(0)
  })
})

describe('what was told or answered, and comes back', () => {
  it('goes to the new number alone', async () => {
    const booked = await book()
    const old = e164()
    people++
    const isMoved = ({ to, text }: Outgoing) => to === old && /now on/.test(text)
    wire.once(isMoved, async () => (await amend(booked, { patient: { phone: phone() } }), busy()))
    await amend(booked, { visit: `${day(5)}T10:00` })
    await world.passUntil(`${day(0)}T15:00:00Z`, 5)
    expect(wire.to(old).filter((text) => /now on/.test(text))).toEqual([])
    expect(wire.to(e164()).filter((text) => /now on/.test(text))).toHaveLength(1)
  })

  it('never offers times that are on offer no more', async () => {
    await world.openings(`${day(8)}T09:00`)
    const booked = await book()
    const isOffer = ({ text }: Outgoing) => /open times:/i.test(text)
    wire.once(isOffer, async () => ({ kind: 'later', code: 'busy', retryAfterMs: 600_000 }))
    await world.reply(e164(), 'I cannot come that day')
    await world.openings(...[11, 12].map((n) => `${day(n)}T09:00`))
    await world.reply(e164(), 'I cannot come that day')
    await world.passUntil(`${day(0)}T16:00:00Z`, 5)
    const offer = (await world.deps.store.read.offers.pending(booked.booking.id))!
    const offered = wire.took.filter((message) => message.to === e164() && isOffer(message))
    expect(offer.choices.length).toBeGreaterThan(1)
    expect(offered).toHaveLength(1)
    const last = (await world.deps.store.read.messages.get(offered[0]!.id))!
    expect(last.choices).toEqual(offer.choices.map(({ at }) => at))
  })

  it('undelivered at a number that is the patient’s no more, is on the call list', async () => {
    const booked = await book()
    const english = loadTexts().languages.get('en')!
    await writeByHand(
      world.deps,
      { patientId: booked.patient.id, clinicId: 'harbour', words: 'Please ring us about the time.', by: 'desk' },
      english,
    )
    await world.passUntil(`${day(0)}T13:30:00Z`, 5)
    const written = (await world.deps.store.read.messages.ofBooking(booked.booking.id)).find(
      ({ kind }) => kind === 'answer',
    )!
    expect(written.state).toBe('sent')
    people++
    await amend(booked, { patient: { phone: phone() } })
    await takeReceipt(world.deps, {
      gateway: 'wire',
      messageId: written.id,
      state: 'undelivered',
      at: world.clock.now(),
    })
    expect(await callsAbout(booked)).toContain('text-lost')
  })
})
