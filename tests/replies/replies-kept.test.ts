import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest'
import { toInstant } from '../../src/domain/local-time.ts'
import { hearReply } from '../../src/flows/replies/hear-text.ts'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'

// Whatever goes wrong once words have come in: they are kept, and a person reads them. Invented people, virtual time.
let world: TestWorld
let people = 10
beforeAll(async () => {
  world = await TestWorld.create('2026-03-09T13:00:00Z')
})
afterAll(() => world.close())

const somebody = () => ({ name: `Nobody ${++people}`, phone: `782 555 01${people}` })
const e164 = ({ phone }: { phone: string }) => `+1${phone.replaceAll(' ', '')}`
const callsAbout = async (bookingId: string) =>
  (await world.deps.store.read.followUps.list({ bookingId, open: true, limit: 100 })).map(({ reason, detail }) => ({
    reason,
    words: detail.words,
  }))
const zoned = (local: string) => toInstant(local, 'America/Halifax', 'visit')
const repliesFrom = (phone: string) => world.deps.store.read.replies.fromPhone(phone, new Date(0))

/** Offered one time, at which the patient has another visit by now. */
async function clash(at: string, visit: string) {
  const person = somebody()
  const { booking } = await world.book({ ...person, visit })
  await world.openings(at)
  await world.reply(e164(person), 'I cannot come that day')
  const offer = (await world.deps.store.read.offers.pending(booking.id))!
  await world.book({ ...person, visit: at, clinician: 'second list' })
  const slotId = offer.choices.find((choice) => choice.at.getTime() === zoned(at).getTime())!.slotId
  return { person, booking, slotId, number: String(offer.choices.findIndex((choice) => choice.slotId === slotId) + 1) }
}

describe('a time that was offered, at which the patient has another visit by now', () => {
  it('chosen by text: the words are kept and answered', async () => {
    const { person, booking, number } = await clash('2026-03-18T09:00', '2026-03-27T10:00')
    await world.reply(e164(person), number)
    const replies = await repliesFrom(e164(person))
    expect(replies.at(-1)).toMatchObject({ text: number, bookingId: booking.id })
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(booking.visitAt)
  })

  it('chosen on the page: no error, the visit stays, the page says what comes next', async () => {
    const api = await serveApi(world)
    const { person, booking, slotId } = await clash('2026-03-19T09:00', '2026-03-30T10:00')
    const page = new URL(world.deps.pageOf(booking.id, e164(person))).pathname
    const form = new URLSearchParams({ answer: 'choice', choice: slotId, lang: 'en' })
    const posted = await fetch(api.base + page, { method: 'POST', body: form, redirect: 'manual' })
    expect(posted.status).toBe(303)
    expect((await fetch(api.base + posted.headers.get('location')!)).status).toBe(200)
    await api.close()
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(booking.visitAt)
  })

  it('is not offered to begin with', async () => {
    const person = somebody()
    await world.openings('2026-03-20T09:00', '2026-03-20T11:00')
    await world.book({ ...person, visit: '2026-03-20T09:00', clinician: 'second list' })
    const { booking } = await world.book({ ...person, visit: '2026-04-01T10:00' })
    await world.reply(e164(person), '2') // of "which visit?"
    await world.reply(e164(person), 'I cannot come on April 1')
    await world.reply(e164(person), '2')
    const offer = await world.deps.store.read.offers.pending(booking.id)
    expect(offer!.choices.map(({ at }) => at.toISOString())).not.toContain('2026-03-20T12:00:00.000Z')
  })

  it('amended to by the desk: refused as already booked, nothing changes', async () => {
    const api = await serveApi(world)
    const person = somebody()
    const { booking } = await world.book({ ...person, visit: '2026-04-02T10:00' })
    await world.book({ ...person, visit: '2026-04-03T10:00', clinician: 'second list' })
    const refused = await api.patch(`/api/v1/bookings/${booking.id}`, { visit: '2026-04-03T10:00' })
    await api.close()
    expect([refused.status, refused.body.code]).toEqual([409, 'already-booked'])
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(booking.visitAt)
  })
})

describe('acting on a reply fails', () => {
  // A protocol that cannot be read is a fault that every flow about the visit stumbles over.
  const BROKEN = new Proxy(
    {},
    {
      get: () => {
        throw new Error('broken')
      },
    },
  )
  const protocols = () => world.deps.protocols as Map<string, unknown>
  const ID = 'liquid-based-cytology'
  let taken: unknown
  const takeAway = () => {
    taken = protocols().get(ID)
    protocols().set(ID, BROKEN)
  }
  afterEach(() => {
    if (taken) protocols().set(ID, taken)
  })

  it('by text: the gateway is told once, the words stand on the call list', async () => {
    const person = somebody()
    const { booking } = await world.book({ ...person, visit: '2026-04-07T10:00' })
    takeAway()
    await world.pocket.reply(e164(person), 'my period started today')
    expect(await repliesFrom(e164(person))).toMatchObject([{ text: 'my period started today', done: 'failed' }])
    protocols().set(ID, taken)
    const calls = await world.deps.store.read.followUps.list({ clinicId: 'harbour', open: true, limit: 200 })
    const detail = expect.objectContaining({ words: 'my period started today' })
    const call = { reason: 'unclear-reply', patientId: booking.patientId, detail }
    expect(calls).toContainEqual(expect.objectContaining(call))
  })

  it('on the page: it answers, and a person reads it', async () => {
    const { hearOnPage } = await import('../../src/flows/replies/hear-on-page.ts')
    const { booking } = await world.book({ ...somebody(), visit: '2026-04-08T10:00' })
    takeAway()
    await expect(
      hearOnPage(world.deps, booking.id, { reading: { meaning: 'cannot-come', confidence: 1, words: [] } }),
    ).resolves.toMatch(/^t_/)
    expect(await callsAbout(booking.id)).toContainEqual({
      reason: 'unclear-reply',
      words: '(on the private page) The patient cannot come',
    })
  })
})

describe('a stop between keeping a reply and acting on it', () => {
  const kept = (phone: string, text: string) => ({
    ...{
      id: world.deps.newId('t'),
      gateway: 'pocket',
      key: `kept-${text}`,
      phone,
      text,
      receivedAt: world.clock.now(),
    },
    ...{ clinicId: null, bookingId: null, patientId: null, reading: null, done: null },
  })

  it('is made good by the next sweep', async () => {
    const person = somebody()
    const { booking } = await world.book({ ...person, visit: '2026-04-09T10:00' })
    await world.deps.store.transact((tx) => tx.replies.keep(kept(e164(person), 'yes I will come')))
    await world.passUntil(new Date(world.clock.now().getTime() + 5 * 60_000).toISOString(), 1)
    expect((await world.deps.store.read.bookings.get(booking.id))!.confirmedAt).not.toBeNull()
  })

  it('or by the gateway that tells it again, and then only once', async () => {
    const person = somebody()
    await world.book({ ...person, visit: '2026-04-10T10:00' })
    const reply = kept(e164(person), 'I cannot come on that day')
    await world.deps.store.transact((tx) => tx.replies.keep(reply))
    const told = { gateway: reply.gateway, key: reply.key, from: reply.phone, text: reply.text, at: reply.receivedAt }
    await hearReply(world.deps, told)
    await hearReply(world.deps, told)
    expect((await repliesFrom(e164(person))).map(({ done }) => done)).toEqual([expect.stringMatching(/offered|none/)])
  })
})

describe('a page left open while the offer changed', () => {
  it('takes the time that stood on the button, or says that the times have changed', async () => {
    const api = await serveApi(world)
    const person = somebody()
    const { booking } = await world.book({ ...person, visit: '2026-04-20T10:00' })
    await world.openings('2026-04-14T09:00', '2026-04-15T09:00', '2026-04-16T09:00')
    await world.reply(e164(person), 'I cannot come that day')
    const page = new URL(world.deps.pageOf(booking.id, e164(person))).pathname
    const old = [...(await (await fetch(api.base + page)).text()).matchAll(/name="choice"\s+value="([^"]+)"/g)].map(
      ([, value]) => value!,
    )
    const before = (await world.deps.store.read.offers.pending(booking.id))!
    // Somebody else books the first of them when the hold is over; what is offered now begins with another time.
    await world.passUntil(new Date(world.clock.now().getTime() + 26 * 3_600_000).toISOString(), 60)
    await world.book({ ...somebody(), visit: '2026-04-14T09:00' })
    await world.reply(e164(person), 'I cannot come that day')
    const press = (choice: string) =>
      fetch(api.base + page, {
        method: 'POST',
        body: new URLSearchParams({ answer: 'choice', choice, lang: 'en' }),
        redirect: 'follow',
      })
    expect(await (await press(old[0]!)).text()).toMatch(/times have changed/)
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(booking.visitAt)
    await press(old[1]!)
    await api.close()
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt).toEqual(before.choices[1]!.at)
  })
})

describe('a visit does not drift by texts alone', () => {
  it('after two moves by the patient nothing later is offered, and a person calls', async () => {
    const drifting = await TestWorld.create('2026-03-09T13:00:00Z')
    const { booking } = await drifting.book({ visit: '2026-05-04T10:00', cycle: { status: 'no-periods' } })
    for (let week = 0; week < 26; week++) {
      const day = new Date(Date.UTC(2026, 4, 11 + 7 * week))
      await drifting.openings(`${day.toISOString().slice(0, 10)}T09:00`)
    }
    for (let times = 0; times < 6; times++) {
      await drifting.reply('+17825550101', 'I cannot come that day')
      await drifting.reply('+17825550101', '3')
    }
    const { visitAt, moves } = (await drifting.deps.store.read.bookings.get(booking.id))!
    expect(moves).toBe(2)
    expect(visitAt.getTime() - booking.visitAt.getTime()).toBeLessThanOrEqual(42 * 86_400_000)
    expect(await drifting.reasons()).toContain('move-limit')
    await drifting.close()
  })

  it('nor is anything offered beyond six weeks after its first time', async () => {
    const drifting = await TestWorld.create('2026-03-09T13:00:00Z')
    const { booking } = await drifting.book({ visit: '2026-03-25T10:00', cycle: { status: 'no-periods' } })
    await drifting.openings('2026-05-07T09:00', '2026-05-11T09:00')
    await drifting.reply('+17825550101', 'I cannot come that day')
    expect(await drifting.deps.store.read.offers.pending(booking.id)).toBeUndefined()
    expect(await drifting.reasons()).toContain('move-limit')
    await drifting.openings('2026-05-06T09:00')
    await drifting.reply('+17825550101', 'I still cannot come that day')
    expect((await drifting.deps.store.read.offers.pending(booking.id))!.choices).toHaveLength(1)
    await drifting.close()
  })
})
