import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { MOST_ALIKE } from '../../src/domain/calls/alike.ts'
import { makeApiKey } from '../../src/adapters/sign-in/api-keys.ts'
import { hearKeys } from '../../src/flows/replies/hear-keys.ts'
import { sweep } from '../../src/flows/messages/sweep.ts'
import { amendBooking, cancelBooking } from '../../src/flows/visits/amend-booking.ts'
import { settleMove } from '../../src/flows/visits/move-visit.ts'
import { DESK, openReception, postForm } from '../desk/reception.ts'
import { BY, accessDeps, bearer, cookieOf, hire, serveClosed } from '../access/signed-in.ts'
import { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

// Two who do something about one visit at once, or one after the other without having seen it: own rules. Invented
// people.
const NO_PERIODS = { cycle: { status: 'no-periods' } } as const

describe.each(STORES)('on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let n = 0
  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
  })
  afterAll(() => opened.close())

  const read = () => world.deps.store.read
  const later = () => world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
  const openCalls = async (bookingId: string) =>
    (await read().followUps.list({ bookingId, open: true, limit: 20 })).map(({ reason }) => reason)
  /** Each a patient at a clinician of its own. */
  async function book(visit: string, more: object = {}) {
    n++
    const who = { name: `Patient ${n}`, phone: `+178255501${String(n).padStart(2, '0')}`, clinician: `room ${n}` }
    return (await world.book({ ...who, visit, ...NO_PERIODS, ...more })).booking
  }

  describe('a key in a call, while the desk makes the visit longer,', () => {
    async function meet(meaning: 'confirm' | 'cannot-come') {
      const { id } = await book('2026-04-20T10:00', { channel: 'voice', minutes: 20 })
      await later()
      const call = (await read().messages.ofBooking(id)).find(({ kind }) => kind === 'confirmation')!
      expect(call).toMatchObject({ channel: 'voice', state: 'delivered' })
      const press = { gateway: 'pocket', key: `${call.id}/1`, messageId: call.id, pressed: { meaning } }
      await Promise.all([
        hearKeys(world.deps, { ...press, at: world.clock.now() }),
        amendBooking(world.deps, id, { minutes: 40, by: 'desk' }),
      ])
      return (await read().bookings.get(id))!
    }

    it('that confirms loses nothing of either', async () => {
      expect(await meet('confirm')).toMatchObject({ minutes: 40, confirmedAt: world.clock.now() })
    })

    it('that says the patient cannot come is for a person, at the length that it has now', async () => {
      const { id, minutes } = await meet('cannot-come')
      expect(minutes).toBe(40)
      expect(await openCalls(id)).toContain('cannot-come')
    })

    it('holds for the new length what it is offered', async () => {
      await world.putClinic()
      n++
      await world.deps.store.transact((tx) =>
        tx.slots.add([
          {
            ...{
              id: `o_${n}`,
              clinicId: 'harbour',
              clinician: `room ${n}`,
              startsAt: new Date('2026-04-10T13:00:00Z'),
            },
            ...{ minutes: null, endsAt: null, state: 'free', bookingId: null, heldUntil: null, overbooked: false },
          },
        ] as never),
      )
      n--
      const { id } = await meet('cannot-come')
      const offer = (await read().offers.pending(id))!
      const from = offer.choices[0]!.at
      const [held] = await read().slots.list({ clinicId: 'harbour', from, states: ['held'], limit: 1 })
      expect(held).toMatchObject({ bookingId: id, endsAt: new Date(from.getTime() + 40 * 60_000) })
    })
  })

  describe('word that a visit is cancelled, which waits for the morning,', () => {
    const texts = async (id: string) =>
      (await read().messages.ofBooking(id)).filter(({ kind }) => kind === 'cancelled').map(({ state }) => state)

    it.each(['the desk moves', 'the patient moves'])(
      'is not told where %s another visit of the patient to that very time',
      async (who) => {
        const day = who === 'the desk moves' ? '2026-04-27' : '2026-04-28'
        const off = await book(`${day}T15:00`)
        const [name, phone] = [`Patient ${n}`, `+178255501${String(n).padStart(2, '0')}`]
        const other = await book('2026-05-04T10:00', { name, phone, clinician: off.clinician })
        const midnight = new Date(world.clock.now().getTime() + 86_400_000).toISOString().slice(0, 10)
        await world.passUntil(`${midnight}T02:30:00Z`, 240)
        await cancelBooking(world.deps, off.id, 'desk')
        expect(await texts(off.id)).toEqual(['queued'])
        if (who === 'the desk moves') await amendBooking(world.deps, other.id, { visit: `${day}T15:00`, by: 'desk' })
        else {
          await world.reply(phone, "I can't come on 4 May, another day please")
          const { choices } = (await read().offers.pending(other.id))!
          const choice = choices.findIndex(({ at }) => at.getTime() === off.visitAt.getTime()) + 1
          await world.reply(phone, String(choice))
        }
        expect((await read().bookings.get(other.id))!.visitAt).toEqual(off.visitAt)
        expect(await texts(off.id)).toEqual(['withdrawn'])
        await world.passUntil(`${midnight}T14:00:00Z`, 60)
        expect(world.textsTo(phone).join()).not.toMatch(/cancelled/)
      },
    )
  })

  it('the desk’s word on a choice, after the day of the visit, changes nothing, and the call for it ends', async () => {
    await world.putClinic({ movePolicy: 'desk-approves' })
    const day = new Date(world.clock.now().getTime() + 3 * 86_400_000)
    const visit = await book(`${day.toISOString().slice(0, 10)}T15:00`)
    const phone = `+178255501${String(n).padStart(2, '0')}`
    const fortnight = new Date(day.getTime() + 14 * 86_400_000).toISOString().slice(0, 10)
    await world.openings(`${fortnight}T10:00`)
    await world.reply(phone, "I can't come that day")
    await world.reply(phone, '1')
    const offer = (await read().offers.pending(visit.id))!
    expect(offer.state).toBe('waiting')
    expect(await openCalls(visit.id)).toContain('approve-move')
    await world.passUntil(new Date(day.getTime() + 2 * 86_400_000).toISOString(), 240)
    await expect(settleMove(world.deps, offer.id, true, 'desk')).rejects.toMatchObject({ code: 'too-late' })
    expect((await read().bookings.get(visit.id))!.visitAt).toEqual(visit.visitAt)
    expect(await openCalls(visit.id)).toEqual([])
    // Nor is a call opened about it when what was held for it comes back, weeks later.
    await world.clock.moveTo(offer.until)
    await sweep(world.deps)
    expect(await openCalls(visit.id)).toEqual([])
    expect((await read().offers.get(offer.id))!.state).toBe('lapsed')
  })
})

it('a clerk whose page was opened before the patient moved the visit is told so, and moves nothing', async () => {
  const reception = await openReception()
  const { world, base, ids } = reception
  const id = ids[6]!
  const page = await (await fetch(`${base}${DESK}/visits/${id}`)).text()
  const forms = ['move', 'cancel'].map((deed) => new RegExp(`action="([^"]*/${deed}[^"]*)"`).exec(page)![1]!)
  await world.reply('+17825550116', "I can't come that day")
  await world.reply('+17825550116', '1')
  const moved = (await world.deps.store.read.bookings.get(id))!
  expect(moved.moves).toBe(1)
  for (const form of forms) {
    const answer = await postForm(base, form, { other: '2026-03-24T11:00', despite: '2026-03-24T11:00', minutes: '10' })
    expect(answer.status).toBe(409)
    expect(await answer.text()).toMatch(/Somebody else has changed it meanwhile\. Nothing of yours was done\./)
  }
  expect(await world.deps.store.read.bookings.get(id)).toEqual(moved)
  await reception.close()
})

it('calls gathered at one clinic are neither shown to nor settled by whoever belongs to another', async () => {
  const world = await TestWorld.create('2026-03-09T13:00:00Z')
  await world.putClinic({}, 'ridge')
  const bookings = []
  for (let n = 0; n <= MOST_ALIKE; n++)
    bookings.push(
      await world.book({
        ...{ name: `Quillon ${n}`, phone: `+178255501${String(10 + n)}`, clinician: `room ${n}` },
        ...{ visit: '2026-03-25T10:00', consent: null, ...NO_PERIODS },
      }),
    )
  const open = () => world.deps.store.read.followUps.list({ clinicId: 'harbour', open: true, limit: 50 })
  const before = await open()
  expect(before.length).toBeGreaterThan(MOST_ALIKE)
  const served = await serveClosed(world)
  const { secret } = await makeApiKey(
    accessDeps(world),
    {
      ...{ name: 'ridge', may: ['calls:read', 'calls:write', 'visits:read', 'visits:write'] },
      ...{ clinicId: 'ridge', expiresAt: null },
    },
    BY,
  )
  const person = await hire(world, { login: 'rae', role: 'desk', clinicId: 'ridge' })
  const [key, cookie] = [bearer(secret), await cookieOf(world, person.id)]
  const chosen = { chosen: before[0]!.id, outcome: 'told', wording: 'Asked on paper.' }
  for (const clinic of ['harbour', 'ridge'])
    for (const path of ['', '/consent', '/file']) {
      const at = `/desk/${clinic}/calls/alike/no-consent${path}`
      for (const headers of [key, cookie]) {
        if (path !== '/consent') expect((await served.ask(at, { headers })).text).not.toContain('Quillon')
        if (path !== '/file')
          expect((await served.ask(at, { headers, form: chosen })).status).toBeGreaterThanOrEqual(401)
      }
    }
  const json = { by: 'ridge', outcome: 'told' }
  for (const { id } of before) {
    const answer = await served.ask(`/api/v1/follow-ups/${id}/close`, { headers: key, json })
    expect([403, 404]).toContain(answer.status)
  }
  expect((await served.ask('/api/v1/follow-ups?clinic=harbour', { headers: key })).status).toBe(403)
  expect(await open()).toEqual(before)
  await served.close()
  await world.close()
})
