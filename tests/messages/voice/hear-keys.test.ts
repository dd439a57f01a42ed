import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Step } from '../../../src/domain/messages/voice/call-script.ts'
import type { Pressed } from '../../../src/domain/messages/voice/pressed.ts'
import { callOf, hearKeys } from '../../../src/flows/replies/hear-keys.ts'
import type { Deps } from '../../../src/flows/ports/deps.ts'
import { TestWorld } from '../../harness/world.ts'
import { writer } from './example-calls.ts'

/** One patient, called by the simulated network on the evening before the patient's preparation begins. */
interface Called {
  bookingId: string
  messageId: string
  phone: string
}

const ASKED = { recordedBy: 'desk', recordedAt: new Date('2026-03-02T13:00:00Z'), wording: 'asked at the desk' }
/** Invented people, with numbers reserved for fiction (NANPA 555-01xx); some agree to texts too. */
const CONSENTS: ('sms' | 'voice')[][] = Array.from({ length: 12 }, (_, n) => (n === 11 ? ['voice', 'sms'] : ['voice']))
let world: TestWorld
let deps: Deps
let people: Called[]
let next = 0

beforeAll(async () => {
  world = await TestWorld.create('2026-03-02T09:00:00-04:00')
  deps = { ...world.deps, calls: writer }
  const booked = []
  for (const [n, channels] of CONSENTS.entries()) booked.push(await book(n, channels))
  await world.passUntil('2026-03-17T20:30:00-03:00', 24 * 60)
  people = await Promise.all(booked.map(async (one) => ({ ...one, messageId: await prepOf(one.bookingId) })))
})
afterAll(() => world.close())

async function book(n: number, channels: ('sms' | 'voice')[]): Promise<{ bookingId: string; phone: string }> {
  const phone = `+178255501${String(n).padStart(2, '0')}`
  const patient = { name: `Ada Fenwick ${n}`, phone, language: 'en', channel: 'voice', detail: 'full' } as const
  const visit = `2026-03-20T10:${String(n * 5).padStart(2, '0')}`
  const { booking } = await world.book({ visit, minutes: 5, patient } as never)
  await deps.store.transact(async (tx) => {
    for (const channel of channels) await tx.patients.addConsent(booking.patientId, { channel, ...ASKED })
  })
  return { bookingId: booking.id, phone }
}

async function prepOf(bookingId: string): Promise<string> {
  return (await deps.store.read.messages.ofBooking(bookingId)).find(({ kind, sentAt }) => kind === 'prep' && sentAt)!.id
}

/** Somebody who has not answered yet. */
const called = (): Called => people[next++]!
const reasons = async (bookingId: string) =>
  (await deps.store.read.followUps.list({ bookingId, limit: 20 })).map(({ reason }) => reason)

function press({ messageId }: Called, pressed: Pressed, key = `${messageId}/1`): Promise<Step | null> {
  return hearKeys(deps, { gateway: 'pocket', key, messageId, pressed, at: world.clock.now() })
}

describe('a key pressed in a call', () => {
  it('1 confirms the visit, and needs no other words than the thanks of the call', async () => {
    const her = called()
    expect(await press(her, { meaning: 'confirm' })).toBeNull()
    expect((await deps.store.read.bookings.get(her.bookingId))!.confirmedAt).toEqual(world.clock.now())
  })

  it("3 without any opening says that the clinic will call, and puts the patient's on the call list", async () => {
    const her = called()
    expect((await press(her, { meaning: 'cannot-come' }))!.say.join(' ')).toContain('the clinic will call you')
    expect(await reasons(her.bookingId)).toContain('cannot-come')
  })

  it('2 and 3, a period that started earlier, leave the date to a person and change nothing', async () => {
    const her = called()
    const before = (await deps.store.read.bookings.get(her.bookingId))!
    expect(await press(her, { meaning: 'period-started' })).toBeNull()
    expect(await reasons(her.bookingId)).toContain('unclear-reply')
    expect((await deps.store.read.bookings.get(her.bookingId))!.planRevision).toBe(before.planRevision)
  })

  it('is heard once, however often it is told', async () => {
    const her = called()
    await press(her, { meaning: 'cannot-come' })
    const [replies, followUps] = [
      await deps.store.read.replies.fromPhone(her.phone, new Date(0)),
      await reasons(her.bookingId),
    ]
    expect(await press(her, { meaning: 'cannot-come' })).toBeNull()
    expect(await deps.store.read.replies.fromPhone(her.phone, new Date(0))).toHaveLength(replies.length)
    expect(await reasons(her.bookingId)).toEqual(followUps)
  })

  it('counts for nothing when it names a message of another gateway, or none', async () => {
    const her = called()
    const about = { key: 'k', pressed: { meaning: 'stop' } as const, at: world.clock.now() }
    expect(await hearKeys(deps, { ...about, gateway: 'another', messageId: her.messageId })).toBeNull()
    expect(await hearKeys(deps, { ...about, gateway: 'pocket', messageId: 'm_none' })).toBeNull()
    expect(await deps.store.read.optOuts.has(her.phone)).toBe(false)
  })

  it('7, a wrong number, ends everything and asks the desk for the right one', async () => {
    const her = called()
    expect((await press(her, { meaning: 'wrong-person' }))!.say.join(' ')).toContain(
      'We will not call this number again',
    )
    expect(await deps.store.read.optOuts.has(her.phone)).toBe(true)
    expect(await reasons(her.bookingId)).toContain('wrong-person')
  })

  it('2 and 1 tell of a period that started today: the times on offer are said, and a key takes one of them', async () => {
    const her = called()
    await world.openings('2026-03-26T09:00', '2026-03-27T15:20')
    const step = await press(her, { meaning: 'period-started', daysAgo: 0 })
    expect(step!.say.join(' ')).toMatch(
      /We have 2 open times .* at \+1, 7 8 2, 5 5 5, 0 1 9 0\. For Thursday, March 26, at 9 in the morning, press 1/,
    )
    expect(step!.keys['2']).toMatchObject({ answer: { meaning: 'choice', choice: 2 } })
    const moved = await press(her, { meaning: 'choice', choice: 2 }, 'k-2')
    expect(moved!.say[0]).toContain('Your visit is now on Friday, March 27')
    expect((await deps.store.read.bookings.get(her.bookingId))!.visitAt).toEqual(new Date('2026-03-27T15:20:00-03:00'))
    // The patient agreed to calls only: nothing is texted, and what was said counts as delivered.
    const answers = (await deps.store.read.messages.ofBooking(her.bookingId)).filter(
      ({ kind }) => kind === 'offer' || kind === 'moved',
    )
    expect(answers.map(({ state, code }) => [state, code])).toEqual([
      ['delivered', 'in-call'],
      ['delivered', 'in-call'],
    ])
  })

  it('has the times on offer texted besides where the patient agreed to texts', async () => {
    const her = people[11]!
    await world.openings('2026-03-26T09:00')
    expect((await press(her, { meaning: 'period-started', daysAgo: 0 }))!.say.join(' ')).toContain('press 1')
    await world.passUntil('2026-03-17T20:40:00-03:00')
    const offer = (await deps.store.read.messages.ofBooking(her.bookingId)).find(({ kind }) => kind === 'offer')!
    expect(offer).toMatchObject({ channel: 'sms', state: 'delivered', code: null })
  })
})

describe('the call of a message', () => {
  it("can be fetched while it is under way, with the words of the patient's own visit", async () => {
    const her = called()
    await deps.store.transact((tx) => tx.messages.move(her.messageId, ['delivered', 'sent'], 'sent'))
    const script = await callOf(deps, her.messageId, 'begin')
    expect(script!.steps.message.say[0]).toContain('Your visit is on Friday, March 20')
    await deps.store.transact((tx) => tx.messages.move(her.messageId, ['sent'], 'delivered'))
    expect(await callOf(deps, her.messageId, 'begin')).toBeNull()
    // The call that has told so may still be going on.
    expect(await callOf(deps, her.messageId, 'go-on')).toEqual(script)
    await deps.store.transact((tx) => tx.messages.move(her.messageId, ['delivered'], 'withdrawn'))
    expect(await callOf(deps, her.messageId, 'go-on')).toBeNull()
    expect(await callOf(deps, 'm_none', 'go-on')).toBeNull()
  })
})

describe('a key pressed in a call, for good', () => {
  it('9 ends everything to that number: nothing that was planned goes out any more', async () => {
    const her = called()
    expect((await press(her, { meaning: 'stop' }))!.say.join(' ')).toContain('You will get no more calls')
    expect(await deps.store.read.optOuts.has(her.phone)).toBe(true)
    // How to prepare was heard in this very call: nobody needs to tell it again.
    expect(await reasons(her.bookingId)).not.toContain('opted-out')
    await world.passUntil('2026-03-19T20:30:00-03:00', 12 * 60)
    expect(await world.kindsOf(her.bookingId, 'planned')).toEqual([])
    expect(await world.kindsOf(her.bookingId, 'withdrawn')).toContain('day-before')
  })
})
