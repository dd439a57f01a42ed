import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import type { Message } from '../../src/domain/messages/message.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { withdrawConsent } from '../../src/flows/patients/withdraw-consent.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import type { Booked } from '../../src/flows/visits/booking-request.ts'
import { TestWorld } from '../harness/world.ts'
import { Wire } from './wire.ts'

// The text with the preparation did not arrive, and a call stands in for it that must wait for the morning. Invented
// people on virtual time. What must hold is the product's own promise: told in time, or on the call list.
let world: TestWorld
let wire: Wire
let people = 10
/** Each test has a week of its own. */
let week = 0
const DAY = 86_400_000
const day = (n: number) =>
  new Date(Date.parse('2026-03-09T13:00:00Z') + (week * 7 + n) * DAY).toISOString().slice(0, 10)
const phone = (n = people) => `782 555 01${n}`
const e164 = (n = people) => `+178255501${n}`
const PREPARATION = /no sex|please avoid/i

beforeAll(async () => {
  wire = new Wire()
  world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [wire])
  await world.putClinic({ gateway: 'wire' })
})
afterAll(() => world.close())
beforeEach(() => {
  week++
  people += 2
})

const messagesOf = ({ booking }: Booked) => world.deps.store.read.messages.ofBooking(booking.id)
const amend = ({ booking }: Booked, changes: object) => amendBooking(world.deps, booking.id, { ...changes, by: 'desk' })
const callsAbout = async ({ booking }: Booked) =>
  (await world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 50 })).map(
    ({ reason }) => reason,
  )
const toldBy = (channel: string, to = e164()) =>
  wire.took.filter((message) => message.to === to && message.channel === channel && PREPARATION.test(message.text))
const MORNING = () => `${day(2)}T12:30:00Z` // half an hour before the mark
const book = (visit: string) =>
  world.book({ name: `Patient ${people}`, phone: phone(), visit, cycle: { status: 'no-periods' } })

/** It is night, and the call waits for nine o'clock. */
async function waitingCall(): Promise<{ booked: Booked; text: Message; call: Message }> {
  await world.passUntil(`${day(0)}T13:00:00Z`, 360)
  const booked = await book(`${day(4)}T10:00`)
  const consent = {
    channel: 'voice',
    recordedBy: 'desk',
    recordedAt: world.clock.now(),
    wording: 'May we call you?',
  } as const
  await world.deps.store.transact((tx) => tx.patients.addConsent(booked.patient.id, consent))
  await world.passUntil(`${day(1)}T23:30:00Z`, 60)
  const text = (await messagesOf(booked)).find(({ kind }) => kind === 'prep')!
  await takeReceipt(world.deps, { gateway: 'wire', messageId: text.id, state: 'undelivered', at: world.clock.now() })
  const call = (await messagesOf(booked)).find(({ fallbackOf }) => fallbackOf === text.id)!
  expect(call).toMatchObject({ channel: 'voice', sendAt: new Date(`${day(2)}T12:00:00Z`) })
  return { booked, text, call }
}

describe('a call that stands in for preparation', () => {
  it('is made though the name was corrected meanwhile', async () => {
    const { booked } = await waitingCall()
    await amend(booked, { patient: { name: `Patient ${people} Corrected` } })
    await world.passUntil(MORNING())
    expect(toldBy('voice')).toHaveLength(1)
    expect(toldBy('sms')).toHaveLength(1) // the one that did not arrive
    expect(await callsAbout(booked)).toEqual([])
  })

  it('is made though another visit was booked meanwhile', async () => {
    await waitingCall()
    await book(`${day(9)}T11:00`)
    await world.passUntil(MORNING())
    expect(toldBy('voice')).toHaveLength(1)
  })

  it('is made in another language when that was changed meanwhile', async () => {
    const { booked } = await waitingCall()
    await amend(booked, { patient: { detail: 'discreet' } })
    await world.passUntil(MORNING())
    const made = (await messagesOf(booked)).filter(({ state, channel }) => state === 'sent' && channel === 'voice')
    expect(made.map(({ kind, detail }) => [kind, detail])).toEqual([['prep', 'discreet']])
  })

  it('becomes a person’s at once when the consent to calls is withdrawn', async () => {
    const { booked } = await waitingCall()
    await withdrawConsent(world.deps, booked.patient.id, 'voice')
    expect(await callsAbout(booked)).toContain('not-delivered')
    await world.passUntil(MORNING())
    expect(toldBy('voice')).toEqual([])
  })

  it('is not made to a number of before; the plan tells the new one', async () => {
    const { booked } = await waitingCall()
    await amend(booked, { patient: { phone: phone(people + 1) } })
    await world.passUntil(MORNING())
    expect(toldBy('voice')).toEqual([])
    expect(toldBy('sms', e164(people + 1))).toHaveLength(1)
  })

  it('that was taken back while the number was another one, becomes a person’s', async () => {
    const { booked } = await waitingCall()
    await amend(booked, { patient: { phone: phone(people + 1) } })
    await amend(booked, { patient: { phone: phone() } })
    expect(await callsAbout(booked)).toContain('not-delivered')
  })

  it('that was taken back by STOP, becomes a person’s after START', async () => {
    const { booked } = await waitingCall()
    await world.reply(e164(), 'STOP')
    expect(await callsAbout(booked)).toContain('opted-out')
    await world.reply(e164(), 'START')
    expect(await callsAbout(booked)).toContain('not-delivered')
  })

  it('once done by a person, is not asked for again by a new plan', async () => {
    const { booked } = await waitingCall()
    await withdrawConsent(world.deps, booked.patient.id, 'voice')
    for (const { id } of await world.deps.store.read.followUps.list({
      bookingId: booked.booking.id,
      open: true,
      limit: 50,
    })) {
      await world.deps.store.transact((tx) => tx.followUps.close(id, 'desk', 'told by telephone', world.clock.now()))
    }
    await amend(booked, { patient: { name: `Patient ${people} Corrected` } })
    expect(await callsAbout(booked)).toEqual([])
  })
})
