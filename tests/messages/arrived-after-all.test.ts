import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { hearReply } from '../../src/flows/replies/hear-text.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import type { Receipt } from '../../src/flows/ports/gateway.ts'
import type { Booked } from '../../src/flows/visits/booking-request.ts'
import { TestWorld } from '../harness/world.ts'
import { Wire } from './wire.ts'

// What a network says and takes back. Invented people on virtual time; the promise is the product's own: who was
// reached is not called, who may not have been is.
let world: TestWorld
let wire: Wire
let people = 10
beforeAll(async () => {
  wire = new Wire()
  world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [wire])
  await world.putClinic({ gateway: 'wire' })
})
afterAll(() => world.close())

/** Within the 48 hours: confirmation and preparation leave at once. */
const bookLate = async () => {
  const person = { name: `Patient ${++people}`, phone: `782 555 01${people}`, clinician: `list ${people}` }
  const booked = await world.book({ ...person, visit: '2026-03-11T09:00', cycle: { status: 'no-periods' } })
  await world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
  return booked
}
const prepOf = async ({ booking }: Booked) =>
  (await world.deps.store.read.messages.ofBooking(booking.id)).find(({ kind }) => kind === 'late-prep')!
const callsAbout = ({ booking }: Booked) =>
  world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 50 })
const reasonsAbout = async (booked: Booked) =>
  (await callsAbout(booked)).map(({ reason }) => reason).filter((reason) => /lost|delivered|unknown/.test(reason))
const receipt = (messageId: string, state: Receipt['state']) =>
  takeReceipt(world.deps, { gateway: 'wire', messageId, state, at: world.clock.now() })

describe('a message that was thought lost and then arrives', () => {
  it('takes its call off the list when it had been told undelivered', async () => {
    const booked = await bookLate()
    const prep = await prepOf(booked)
    await receipt(prep.id, 'undelivered')
    expect(await reasonsAbout(booked)).toContain('not-delivered')
    await receipt(prep.id, 'delivered')
    expect(await reasonsAbout(booked)).not.toContain('not-delivered')
    const closed = await world.deps.store.read.followUps.list({ bookingId: booked.booking.id, open: false, limit: 9 })
    expect(closed.find(({ reason }) => reason === 'not-delivered')).toMatchObject({ closedBy: 'daysix' })
  })

  it('takes its call off the list when nobody had known what became of it', async () => {
    wire.once(
      ({ text }) => /avoid|no sex/i.test(text),
      async () => ({ kind: 'unknown', code: 'link-lost' }),
    )
    const booked = await bookLate()
    expect(await reasonsAbout(booked)).toContain('send-unknown')
    await receipt((await prepOf(booked)).id, 'delivered')
    expect(await reasonsAbout(booked)).not.toContain('send-unknown')
  })

  it('is not worth an urgent call where nothing to prepare was in it', async () => {
    wire.once(
      ({ text }) => /booked for/.test(text),
      async () => ({ kind: 'unknown', code: 'link-lost' }),
    )
    const person = { name: `Patient ${++people}`, phone: `782 555 01${people}`, clinician: `list ${people}` }
    const booked = await world.book({ ...person, visit: '2026-03-25T09:00', cycle: { status: 'no-periods' } })
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
    expect(await reasonsAbout(booked)).toEqual(['courtesy-unknown'])
    const [confirmation] = await world.deps.store.read.messages.ofBooking(booked.booking.id)
    await receipt(confirmation!.id, 'delivered')
    expect(await reasonsAbout(booked)).toEqual([])
  })

  it('leaves the call that stands for another one, too', async () => {
    const booked = await bookLate()
    const prep = await prepOf(booked)
    await receipt(prep.id, 'undelivered')
    // A text of the desk is lost as well: it has a call of its own, which stays.
    const byHand = { ...prep, id: 'm_hand', kind: 'answer', byHand: true, gatewayRef: null, state: 'sent' } as const
    await world.deps.store.transact((tx) => tx.messages.insert([byHand]))
    await receipt('m_hand', 'undelivered')
    await receipt(prep.id, 'delivered')
    expect(await reasonsAbout(booked)).toEqual(['text-lost'])
    await receipt('m_hand', 'delivered')
    expect(await reasonsAbout(booked)).toEqual([])
  })
})

describe('a message of a patient that could not be read', () => {
  const hear = (from: string, octets: string, text = '') =>
    hearReply(world.deps, { gateway: 'wire', key: octets + from, from, text, octets, at: world.clock.now() })

  it('confirms nothing, is kept as it came, and is shown to the desk for what it is', async () => {
    const booked = await bookLate()
    const phone = booked.patient.phone
    await hear(phone, '00010203ff', '\0\u0001\u0002\u0003ÿ')
    const [reply] = await world.deps.store.read.replies.fromPhone(phone, new Date(0))
    expect(reply).toMatchObject({ octets: '00010203ff', reading: { meaning: 'unclear' } })
    expect(reply!.text).toMatch(/^\[A message that could not be read: bytes 00 01 02 03 ff\]/)
    expect((await world.deps.store.read.bookings.get(booked.booking.id))!.confirmedAt).toBeNull()
    const call = (await callsAbout(booked)).find(({ reason }) => reason === 'unclear-reply')
    expect(call!.detail.words).toMatch(/could not be read/)
  })

  it('is not taken for a yes where the rest of it says one, but for the refusal that it holds', async () => {
    const booked = await bookLate()
    const phone = booked.patient.phone
    await hear(phone, '796573ff', 'yes \ufffd')
    expect((await world.deps.store.read.bookings.get(booked.booking.id))!.confirmedAt).toBeNull()
    await hear(phone, '53544f50ff', 'STOP \ufffd')
    expect(await world.deps.store.read.optOuts.has(phone)).toBe(true)
  })
})
