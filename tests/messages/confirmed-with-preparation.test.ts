import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { MESSAGE_KINDS } from '../../src/domain/messages/texts/message-kinds.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'
import { Wire } from './wire.ts'

// Whoever books within the 48 hours is told once, not twice in the same minute. Invented people on virtual time; the
// promise is the product's own. What a text must say is the product's own rule for a confirmation.
const LANGUAGES = ['en', 'fr', 'es', 'uk', 'pa']
let world: TestWorld
let wire: Wire
let people = 10
beforeAll(async () => {
  wire = new Wire()
  world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [wire], { approved: LANGUAGES })
  await world.putClinic({ gateway: 'wire' })
})
afterAll(() => world.close())

const bookLate = async (way: { language?: string; channel?: 'sms' | 'voice'; detail?: 'full' | 'discreet' } = {}) => {
  const phone = `782 555 01${++people}`
  const { language = 'en', channel = 'sms' as const, detail = 'full' as const } = way
  const booked = await world.book({
    ...{ clinician: `list ${people}`, visit: '2026-03-11T09:00', cycle: { status: 'no-periods' } },
    patient: { name: `Patient ${people}`, phone, language, channel, detail },
  } as never)
  await world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))
  return { ...booked, taken: wire.took.filter(({ to }) => to.endsWith(phone.slice(-4))) }
}
const messagesOf = (id: string) => world.deps.store.read.messages.ofBooking(id)
const times = (text: string, part: string) => text.split(part).length - 1

describe('a visit booked when preparation is due already', () => {
  it.each(LANGUAGES)('is confirmed in the text that tells how to prepare, in %s', async (language) => {
    const { taken } = await bookLate({ language })
    expect(taken).toHaveLength(1)
    const { text } = taken[0]!
    const alone = (kind: 'confirmation' | 'late-prep', avoid?: string[]) =>
      world.deps.render({
        ...{ kind, language, channel: 'sms', detail: 'full' },
        values: {
          ...{ clinic: CLINIC.name, clinicPhone: CLINIC.phone, zone: CLINIC.zone, clock: '24' },
          ...{ visit: new Date('2026-03-11T12:00:00Z'), ...(avoid && { avoid }) },
        } as never,
      }).text
    expect(times(text, CLINIC.name)).toBe(1)
    expect(text).toContain(alone('confirmation', []).replace(`${CLINIC.name}: `, ''))
    expect(text.startsWith(alone('late-prep').slice(0, 30))).toBe(true)
    expect(MESSAGE_KINDS.confirmation.saysStop && text).toMatch(/STOP|ARRET/)
  })

  it.each(LANGUAGES)('is confirmed in the one call that is made, in %s', async (language) => {
    const { taken } = await bookLate({ language, channel: 'voice' })
    expect(taken).toHaveLength(1)
    const said = taken[0]!.voice!.steps.message.say.join(' ')
    // 09:00, as digits of the clock or as the hour in words, and the number to call, digit by digit.
    expect(said).toContain('7 8 2')
    expect(said).toMatch(/9|neuf|nueve|дев|ਨੌਂ/)
  })

  it('is confirmed by a call that says little, too', async () => {
    const { taken } = await bookLate({ channel: 'voice', detail: 'discreet' })
    expect(taken).toHaveLength(1)
    expect(taken[0]!.voice!.steps.message.say.slice(0, 2)).toEqual([
      expect.stringContaining('We have a message about your visit'),
      expect.stringContaining('Your visit is booked for Wednesday'),
    ])
  })

  it('is not confirmed again by a later plan, and by what stands in for the text', async () => {
    const { booking, patient, taken } = await bookLate()
    const { deps } = world
    const consent = { channel: 'voice', recordedBy: 'desk', recordedAt: deps.clock.now(), wording: 'Calls?' } as const
    await deps.store.transact((tx) => tx.patients.addConsent(patient.id, consent))
    await amendBooking(deps, booking.id, { patient: { name: 'Ada Fennwick' }, by: 'desk' })
    await world.passUntil('2026-03-09T15:00:00Z')
    expect(wire.to(taken[0]!.to)).toHaveLength(1)
    const [prep] = await messagesOf(booking.id)
    expect(prep).toMatchObject({ kind: 'late-prep', confirms: true })
    const at = world.clock.now()
    await takeReceipt(deps, { gateway: 'wire', messageId: prep!.id, state: 'undelivered', at })
    await world.passUntil('2026-03-09T16:00:00Z')
    const standIn = (await messagesOf(booking.id)).find(({ fallbackOf }) => fallbackOf === prep!.id)
    expect(standIn).toMatchObject({ channel: 'voice', confirms: true })
    expect((await messagesOf(booking.id)).filter(({ kind }) => kind === 'confirmation')).toEqual([])
  })
})
