import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { TestWorld } from '../harness/world.ts'

// Of STOP and START the last one written counts: common practice, no source. Invented people.
describe('a STOP or START that was left behind by a crash', () => {
  let world: TestWorld
  let people = 10

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => world.close())

  async function somebody() {
    const phone = `782 555 01${++people}`
    const visit = { name: `Nobody ${people}`, phone, visit: '2026-03-25T10:00', clinician: phone }
    await world.book({ ...visit, cycle: { status: 'no-periods' } })
    return `+1${phone.replaceAll(' ', '')}`
  }

  /** Kept, and not acted on: the process died in between. */
  async function leftBehind(phone: string, text: string) {
    const id = world.deps.newId('t')
    const facts = { id, gateway: 'pocket', key: id, phone, text, receivedAt: world.clock.now() }
    const nothing = { clinicId: null, bookingId: null, patientId: null, reading: null, done: null }
    await world.deps.store.transact((tx) => tx.replies.keep({ ...facts, ...nothing }))
    await world.clock.moveTo(new Date(world.clock.now().getTime() + 1000))
    return id
  }

  const swept = () => world.passUntil(new Date(world.clock.now().getTime() + 5 * 60_000).toISOString(), 1)
  const isOptedOut = (phone: string) => world.deps.store.read.optOuts.has(phone)

  it('changes nothing where a START was written since', async () => {
    const phone = await somebody()
    const id = await leftBehind(phone, 'STOP')
    await world.reply(phone, 'START')
    const before = world.textsTo(phone).length
    await swept()
    expect(await isOptedOut(phone)).toBe(false)
    expect((await world.deps.store.read.replies.get(id))!.done).toBe('outdated')
    expect(world.textsTo(phone).length).toBe(before)
  })

  it('changes nothing where a STOP was written since', async () => {
    const phone = await somebody()
    await leftBehind(phone, 'START')
    await world.reply(phone, 'STOP')
    await swept()
    expect(await isOptedOut(phone)).toBe(true)
  })

  it('counts where anything else was written since', async () => {
    const phone = await somebody()
    await leftBehind(phone, 'STOP')
    await world.reply(phone, 'thanks')
    await swept()
    expect(await isOptedOut(phone)).toBe(true)
  })

  it('and an alarm in the same text is one all the same', async () => {
    const phone = await somebody()
    await leftBehind(phone, 'stop texting me, I am bleeding heavily and feel faint')
    await world.reply(phone, 'START')
    await swept()
    expect(await isOptedOut(phone)).toBe(false)
    const calls = await world.deps.store.read.followUps.list({ phone, open: true, limit: 50 })
    expect(calls.map(({ reason }) => reason)).toContain('alarm')
  })
})
