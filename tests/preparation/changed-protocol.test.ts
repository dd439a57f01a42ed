import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { replanChanged } from '../../src/flows/preparation/replan-changed.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'
import { TestWorld } from '../harness/world.ts'

describe('a protocol that changes between two starts', () => {
  let world: TestWorld
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => world.close())

  it('plans anew what is not yet sent, once, and leaves what was said alone', async () => {
    const { booking } = await world.book({ visit: '2026-03-25T15:00' })
    await world.passUntil('2026-03-09T14:00:00Z')
    expect(await replanChanged(world.deps)).toBe(0)

    // A site asks for 72 hours instead of 48.
    const before = world.deps.protocols.get('liquid-based-cytology')!
    const longer = { ...before, prepHours: 72, digest: 'another-content' }
    const deps: Deps = { ...world.deps, protocols: new Map([...world.deps.protocols, [longer.id, longer]]) }
    expect(await replanChanged(deps)).toBe(1)
    expect(await replanChanged(deps)).toBe(0)

    const messages = await world.deps.store.read.messages.ofBooking(booking.id)
    const prep = messages.find(({ kind, state }) => kind === 'prep' && (state === 'planned' || state === 'queued'))!
    expect(prep.notAfter.toISOString()).toBe('2026-03-22T18:00:00.000Z') // 72 elapsed hours before 15:00 in Halifax
    expect(messages.filter(({ kind }) => kind === 'confirmation').map(({ state }) => state)).toEqual(['delivered'])
  })
})
