import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { TestWorld } from '../harness/world.ts'

// What a text taught is said back, and one word takes it back while nothing newer rests on it. Own rules, no source;
// invented people at numbers reserved for fiction.
const ADA = '+17825550101'
const CYCLE = { status: 'cycling', lmp: '2026-02-20', usualCycleDays: 28 } as const

describe('what was noted of a period', () => {
  let world: TestWorld
  beforeEach(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterEach(() => world.close())

  const texts = () =>
    world.pocket
      .phone(ADA)
      .texts.filter(({ direction }) => direction === 'to-patient')
      .map(({ text }) => text)
  const last = () => texts().at(-1)!
  const cycleOf = async (id: string) => (await world.deps.store.read.patients.get(id))!.cycle
  const reasons = async (bookingId: string) =>
    (await world.deps.store.read.followUps.list({ bookingId, open: true, limit: 50 })).map(({ reason }) => reason)

  it('is said back with its day, and UNDO takes back exactly that', async () => {
    const { booking, patient } = await world.book({ visit: '2026-03-19T10:00', cycle: CYCLE })
    const before = await cycleOf(patient.id)
    await world.reply(ADA, 'my period started on Saturday')
    expect(last()).toBe(
      'Harbour Clinic: We noted: began Sat Mar 7. Not right? Reply UNDO. Your visit stays on Thu Mar 19 10:00am.',
    )
    expect((await cycleOf(patient.id)).lmp).toBe('2026-03-07')
    await world.reply(ADA, 'Undo')
    expect(last()).toBe('Harbour Clinic: We took that back. Your visit stays on Thu Mar 19 10:00am.')
    expect(await cycleOf(patient.id)).toEqual(before)
    expect(await reasons(booking.id)).not.toContain('unclear-reply')
  })

  it('is taken back with the times that were offered for it', async () => {
    await world.openings('2026-03-24T09:00', '2026-03-26T09:00')
    const { booking, patient } = await world.book({ visit: '2026-03-11T10:00', cycle: CYCLE })
    await world.reply(ADA, 'my period started this morning')
    const [noted, offered] = texts().slice(-2)
    expect([noted, offered].some((text) => text!.includes('We noted: began Mon Mar 9. Not right? Reply UNDO.'))).toBe(
      true,
    )
    expect([noted, offered].some((text) => text!.includes('Open times'))).toBe(true)
    expect(await world.deps.store.read.offers.pending(booking.id)).toBeDefined()
    await world.reply(ADA, 'UNDO')
    expect(await world.deps.store.read.offers.pending(booking.id)).toBeUndefined()
    expect((await cycleOf(patient.id)).lmp).toBe('2026-02-20')
  })

  it('goes to a person where something newer rests on it, or there is nothing to take back', async () => {
    const { booking, patient } = await world.book({ visit: '2026-03-19T10:00', cycle: CYCLE })
    await world.reply(ADA, 'UNDO')
    expect(await reasons(booking.id)).toContain('unclear-reply')
    await world.reply(ADA, 'my period started on Saturday')
    await world.reply(ADA, 'yes')
    const after = await cycleOf(patient.id)
    await world.reply(ADA, 'UNDO')
    expect(await cycleOf(patient.id)).toEqual(after)
    expect(await reasons(booking.id)).toContain('unclear-reply')
  })

  it('names no period in a discreet text', async () => {
    const { booking } = await world.book({ visit: '2026-03-19T10:00', cycle: CYCLE })
    await amendBooking(world.deps, booking.id, { patient: { detail: 'discreet' }, by: 'desk' })
    await world.reply(ADA, 'my period started on Saturday')
    expect(last()).toBe(
      'Harbour Clinic: We noted Sat Mar 7. Not right? Reply UNDO. Your visit stays on Thu Mar 19 10:00am.',
    )
  })
})
