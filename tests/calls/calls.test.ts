import { DateTime } from 'luxon'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Gateway, Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { TestWorld } from '../harness/world.ts'

/** A telephone line at the other end that is busy, or picks up. Only the peer is played; everything of ours is real. */
class Line implements Gateway {
  readonly name = 'line'
  readonly channels = ['voice'] as const
  readonly onUnknown = 'ask-desk'
  readonly calls: { at: Date; message: Outgoing }[] = []
  answer: SendOutcome = { kind: 'later', code: 'busy' }
  now: () => Date = () => new Date(NaN)

  async start(): Promise<void> {}
  async stop(): Promise<void> {}
  async send(message: Outgoing): Promise<SendOutcome> {
    this.calls.push({ at: this.now(), message })
    return this.answer
  }
}

// At most three calls, each at another part of the day, then a person: a rule of the product, no outside source.
describe('preparation by telephone', () => {
  let world: TestWorld
  const line = new Line()

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [line])
    line.now = () => world.clock.now()
    await world.putClinic({ gateway: 'line' })
  })
  afterAll(() => world.close())

  it('is tried three times at different parts of the day within sending hours, then the desk calls', async () => {
    const { booking } = await world.deps.store.transact(async (tx) => {
      const { bookVisit } = await import('../../src/flows/visits/book-visit.ts')
      return bookVisit(tx, world.deps, {
        clinic: 'harbour',
        protocol: 'liquid-based-cytology',
        visit: '2026-03-25T15:00',
        patient: { name: 'Orla Venn', phone: '782 555 0177', language: 'en', channel: 'voice', detail: 'full' },
        cycle: { status: 'cycling', lmp: '2026-03-02', usualCycleDays: 28 },
        consent: { recordedBy: 'desk' },
        by: 'desk',
      })
    })
    const { enqueueDue: ringDue } = await import('../../src/flows/messages/enqueue-due.ts')
    await ringDue(world.deps)
    await world.passUntil('2026-03-12T13:00:00Z', 15)

    // The confirmation is called too: its calls come first.
    const messages = await world.deps.store.read.messages.ofBooking(booking.id)
    const confirmation = messages.find(({ kind }) => kind === 'confirmation')!
    const calls = line.calls.filter(({ message }) => message.id === confirmation.id)
    expect(calls.length).toBeLessThanOrEqual(3)
    expect(calls.length).toBeGreaterThan(1)
    const hours = calls.map(({ at }) => DateTime.fromJSDate(at, { zone: booking.zone }).hour)
    expect(hours.every((hour) => hour >= 9 && hour < 20)).toBe(true)
    const part = (hour: number) => (hour < 12 ? 'morning' : hour < 17 ? 'afternoon' : 'evening')
    for (let i = 1; i < hours.length; i++) expect(part(hours[i]!)).not.toBe(part(hours[i - 1]!))
    expect(['failed', 'expired']).toContain(confirmation.state)
  })

  it('carries the script of the call, which names nobody before a key is pressed', () => {
    const { voice, text } = line.calls[0]!.message
    expect(voice).toBeDefined()
    expect(text.length).toBeGreaterThan(0)
    expect(JSON.stringify(voice)).not.toMatch(/Orla|Venn/)
  })

  it('reaches the call list when preparation could not be told', async () => {
    await world.passUntil('2026-03-23T18:30:00Z', 30)
    expect(await world.reasons()).toContain('not-delivered')
  })
})
