import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { resumeSending, stopSending } from '../../src/flows/messages/stop-sending.ts'
import { writeByHand } from '../../src/flows/messages/write-by-hand.ts'
import { cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { TestWorld } from '../harness/world.ts'

// Whoever wrote a text believes that it is told, so its loss is always a call: a rule of the product,
// no source. Invented people.
const english = loadTexts().languages.get('en')!
const HAND = { kind: 'person', id: 'u_test', by: 'desk' }

describe('what the desk wrote by hand and never arrives', () => {
  let world: TestWorld
  let people = 10
  let stopped = false

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterEach(() => resume('send'))
  afterAll(() => world.close())

  async function somebody(text: string) {
    const phone = `782 555 01${++people}`
    const visit = { name: `Nobody ${people}`, phone, visit: '2026-03-25T10:00', clinician: phone }
    const { booking } = await world.book({ ...visit, cycle: { status: 'no-periods' } })
    await later(5)
    const e164 = `+1${phone.replaceAll(' ', '')}`
    await world.reply(e164, text)
    return { booking, patientId: booking.patientId, e164 }
  }

  const later = (minutes: number) =>
    world.passUntil(new Date(world.clock.now().getTime() + minutes * 60_000).toISOString(), 5)

  const write = (patientId: string) => {
    const words = 'Please ring us about the time.'
    return writeByHand(world.deps, { patientId, clinicId: 'harbour', words, by: 'desk' }, english)
  }

  async function stop() {
    await stopSending(world.deps, 'region', 'a trial', HAND)
    stopped = true
  }

  async function resume(backlog: 'send' | 'call') {
    if (stopped) await resumeSending(world.deps, 'region', backlog, HAND)
    stopped = false
  }

  const reasonsOf = async (patientId: string) => {
    const open = await world.deps.store.read.followUps.list({ open: true, limit: 200 })
    const own = open.filter((each) => each.patientId === patientId)
    return own.map(({ reason }) => reason)
  }

  it('because sending was stopped and what was due is left to people', async () => {
    const { patientId } = await somebody('thanks')
    await stop()
    await write(patientId)
    await resume('call')
    expect(await reasonsOf(patientId)).toEqual(['text-lost'])
  })

  it('unlike a sentence of the protocol, of which nobody believes anything', async () => {
    const { e164, patientId } = await somebody('thanks')
    await stop()
    await world.reply(e164, 'can I have a bath?')
    const { read } = world.deps.store
    const all = await read.messages.toPhone(e164, 'harbour', new Date(0))
    const answer = all.find(({ kind }) => kind === 'answer')
    expect(answer).toMatchObject({ state: 'queued', prompted: true, byHand: false })
    await resume('call')
    expect(await reasonsOf(patientId)).toEqual([])
  })

  it('because it has become worthless, also where there is no visit to come', async () => {
    const { booking, e164, patientId } = await somebody('thanks')
    await cancelBooking(world.deps, booking.id, 'desk')
    await stop()
    await write(patientId)
    const all = await world.deps.store.read.messages.toPhone(e164, 'harbour', new Date(0))
    expect(all.find(({ byHand }) => byHand)).toMatchObject({ bookingId: null })
    await world.passUntil('2026-03-10T03:30:00Z', 60)
    expect(await reasonsOf(patientId)).toEqual(['text-lost'])
  })

  it('because the phone could not be reached, also where the visit is off by then', async () => {
    const { booking, e164, patientId } = await somebody('thanks')
    world.pocket.behave(e164, { fate: 'undelivered', receiptAfterMs: 1_200_000 })
    await write(patientId)
    await later(5)
    await cancelBooking(world.deps, booking.id, 'desk')
    await later(60)
    expect(await world.kindsOf(booking.id, 'undelivered')).toEqual(['answer'])
    expect(await reasonsOf(patientId)).toEqual(['text-lost'])
  })
})
