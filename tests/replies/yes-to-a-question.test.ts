import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { TestWorld } from '../harness/world.ts'

// Invented data on virtual time. LMP 2026-03-02 and a 28-day cycle put the next period at 2026-03-30; what a yes means
// after which text is judged by hand, no source.
const ADA = '+17825550101'
const EVE = '+17825550102'

describe('a yes', () => {
  let world: TestWorld
  let id: string
  const delivered = async (kind: string) => (await world.kindsOf(id, 'delivered')).includes(kind)
  const passUntilSaid = async (kind: string) => {
    for (let day = 10; day < 60 && !(await delivered(kind)); day++)
      await world.passUntil(new Date(Date.UTC(2026, 2, day, 23)).toISOString(), 120)
    expect(await delivered(kind)).toBe(true)
  }

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    id = (await world.book({ visit: '2026-04-08T10:30' })).booking.id
  })
  afterAll(() => world.close())

  it('to "Has your period started?" confirms nothing and is asked for the day, which is then learned', async () => {
    await passUntilSaid('cycle-check')
    // A carrier's word for wanting messages, from somebody who gets them: a person asks what was meant.
    await world.reply(ADA, 'START')
    expect(world.textsTo(ADA).at(-1)).toMatch(/A person will read your message/)
    expect(await world.reasons()).toContain('unclear-reply')
    await world.reply(ADA, 'Yes')
    expect((await world.deps.store.read.bookings.get(id))!.confirmedAt).toBeNull()
    expect(world.textsTo(ADA).at(-1)).toMatch(/When did your last period start/)
    await world.reply(ADA, 'yesterday')
    const yesterday = new Date(world.clock.now().getTime() - 27 * 3_600_000).toISOString().slice(0, 10)
    const { patientId } = (await world.deps.store.read.bookings.get(id))!
    expect((await world.deps.store.read.patients.get(patientId))!.cycle).toMatchObject({ lmp: yesterday })
  })

  it('to "If your period has started, or you cannot come, reply now" confirms nothing either', async () => {
    id = (await world.book({ visit: '2026-04-21T10:30', name: 'Eve Marsh', phone: '782 555 0102' })).booking.id
    await passUntilSaid('day-before')
    await world.reply(EVE, '👍')
    expect((await world.deps.store.read.bookings.get(id))!.confirmedAt).toBeNull()
    await world.reply(EVE, 'see you tomorrow')
    expect((await world.deps.store.read.bookings.get(id))!.confirmedAt).not.toBeNull()
  })
})
