import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { correctReading } from '../../src/flows/replies/correct-reading.ts'
import { addOpenings } from '../../src/flows/visits/manage-openings.ts'
import { writeByHand } from '../../src/flows/messages/write-by-hand.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'
import { serveApi } from '../harness/api.ts'
import { DESK, NOW, pageText, postForm } from './reception.ts'

const english = loadTexts().languages.get('en')!
let world: TestWorld
let api: Awaited<ReturnType<typeof serveApi>>
/** Each test has a patient of its own, with a number reserved for fiction. */
let phone = ''
let count = 0
beforeAll(async () => {
  world = await TestWorld.create(NOW)
  await world.openings(
    '2026-03-19T09:00',
    '2026-03-19T09:20',
    '2026-03-19T09:40',
    '2026-03-24T09:00',
    '2026-03-24T09:20',
    '2026-03-24T09:40',
    '2026-03-26T09:00',
    '2026-03-26T09:20',
    '2026-03-26T09:40',
  )
  api = await serveApi(world)
})
beforeEach(() => {
  phone = `+178255501${20 + count++}`
})
afterAll(async () => {
  await api.close()
  await world.close()
})

const book = (changes: Partial<Parameters<TestWorld['book']>[0]> = {}) =>
  world.book({
    visit: `2026-03-25T10:${10 + count}`,
    clinician: `room ${count}`,
    phone,
    name: `Ada Fenwick ${count}`,
    ...changes,
  })
const lastReply = async () => (await world.deps.store.read.replies.fromPhone(phone, new Date(0))).at(-1)!
const openFor = (bookingId: string) => world.deps.store.read.followUps.list({ bookingId, open: true, limit: 10 })
const cycleOf = async (patientId: string) => (await world.deps.store.read.patients.get(patientId))!.cycle
const minuteLater = () => world.clock.moveTo(new Date(world.clock.now().getTime() + 60_000))

describe('a wrong reading put right by the desk', () => {
  // A late first day, so that the patient's word is no contradiction: the cycle before began 27 days earlier.
  const cycle = { status: 'cycling', lmp: '2026-02-10', usualCycleDays: 28 } as const

  it('takes the dates back that were learned from it, and does what follows from the right meaning', async () => {
    const { booking, patient } = await book({ cycle })
    await world.reply(phone, 'my period started today')
    expect((await cycleOf(patient.id)).lmp).toBe('2026-03-09')
    await correctReading(world.deps, (await lastReply()).id, { meaning: 'not-started', by: 'desk' })
    await minuteLater()
    const after = await cycleOf(patient.id)
    expect(after).toMatchObject({ lmp: '2026-02-10', notStartedBy: '2026-03-09' })
    expect(after.pastStarts ?? []).toEqual([])
    expect(await lastReply()).toMatchObject({
      reading: { meaning: 'not-started' },
      corrected: { by: 'desk', from: 'period-started' },
    })
    expect((await world.deps.store.read.events.ofBooking(booking.id)).map(({ what }) => what)).toContain(
      'reading-corrected',
    )
  })

  it('learns the day that the clerk gives, and offers better times when it spoils the visit', async () => {
    const { booking, patient } = await book({ visit: `2026-03-12T10:${10 + count}`, cycle })
    await world.reply(phone, 'red letter day for me on sunday as it happens')
    await correctReading(world.deps, (await lastReply()).id, {
      meaning: 'period-started',
      date: '2026-03-08',
      by: 'desk',
    })
    await minuteLater()
    expect((await cycleOf(patient.id)).lmp).toBe('2026-03-08')
    expect((await world.deps.store.read.offers.pending(booking.id))?.state).toBe('open')
    expect(world.textsTo(phone).at(-1)).toMatch(/Open times:/)
  })

  it('closes the follow-up that waited for somebody to read the words, and no other', async () => {
    const { booking } = await book({ cycle })
    await world.reply(phone, 'is it ok if my sister parks behind the bakery')
    await world.reply(phone, 'qwerty uiop')
    expect(await openFor(booking.id)).toHaveLength(2)
    await correctReading(world.deps, (await lastReply()).id, { meaning: 'thanks', by: 'desk' })
    expect((await openFor(booking.id)).map(({ detail }) => detail.words)).toEqual([
      'is it ok if my sister parks behind the bakery',
    ])
  })

  it('takes a lapse off the day sheet that was none', async () => {
    const { booking } = await book({ cycle })
    await world.reply(phone, 'I forgot and used cream last night')
    expect((await world.deps.store.read.bookings.get(booking.id))!.lapses).toHaveLength(1)
    await correctReading(world.deps, (await lastReply()).id, { meaning: 'thanks', by: 'desk' })
    expect((await world.deps.store.read.bookings.get(booking.id))!.lapses).toEqual([])
  })

  it('never takes a plain STOP back', async () => {
    await book({ cycle })
    await world.reply(phone, ' Stop ')
    await expect(correctReading(world.deps, (await lastReply()).id, { meaning: 'thanks', by: 'desk' })).rejects.toThrow(
      /bad-input/,
    )
    expect(await world.deps.store.read.optOuts.has(phone)).toBe(true)
  })

  it('does not pretend to undo a move', async () => {
    await book({ visit: `2026-03-12T10:${10 + count}`, cycle })
    await world.reply(phone, 'my period started yesterday')
    await world.reply(phone, '1')
    expect((await lastReply()).done).toBe('moved')
    await expect(
      correctReading(world.deps, (await lastReply()).id, { meaning: 'choice', choice: 2, by: 'desk' }),
    ).rejects.toThrow(/too-late/)
  })
})

describe('a message written by hand', () => {
  const write = async (patientId: string, words: string) =>
    writeByHand(world.deps, { patientId, clinicId: CLINIC.id, words, by: 'desk' }, english)

  it('goes at once, under the clinic’s name, to somebody who just wrote', async () => {
    const { patient } = await book()
    await world.reply(phone, 'is it ok if my sister parks behind the bakery')
    expect(await write(patient.id, 'Yes, she may park there.')).toBe('now')
    await minuteLater()
    expect(world.textsTo(phone).at(-1)).toBe('Harbour Clinic: Yes, she may park there.')
  })

  it("needs the patient's consent, and respects that the patient wants none", async () => {
    const { patient } = await book({ consent: null })
    await expect(write(patient.id, 'Please use the ramp.')).rejects.toMatchObject({
      detail: { field: 'words', message: expect.stringContaining('not agreed') },
    })
    await world.reply(phone, 'STOP')
    await expect(write(patient.id, 'Please use the ramp.')).rejects.toThrow(/too-late/)
  })

  it('is refused when it speaks of a result, and the desk’s page keeps what was typed', async () => {
    const { patient } = await book()
    const answer = await postForm(api.base, `${DESK}/replies/${patient.id}/write`, { words: 'Your result is normal.' })
    const body = await answer.text()
    expect(answer.status).toBe(422)
    expect(body).toContain('>Your result is normal.</textarea>')
    expect(body).toMatch(/id="words-fault">“result” speaks of a result/)
  })
})

describe('the call list', () => {
  it('records an outcome in one press, shows who and when, and takes it back', async () => {
    const { booking, patient } = await book({ consent: null })
    const { id } = (await openFor(booking.id))[0]!
    expect(await pageText(api.base, `${DESK}/calls`)).toMatch(
      new RegExp(
        `${patient.name} No consent Visit Wed 25 Mar, 10:\\d\\d There is no consent to messages that holds.*?To say: I am calling about your visit on Wednesday 25 March 2026 at 10:`,
      ),
    )
    const closed = await postForm(api.base, `${DESK}/calls/${id}/close`, { outcome: 'told' })
    expect(closed.headers.get('location')).toBe(`${DESK}/calls?said=closed&undo=${id}`)
    expect(await pageText(api.base, `${DESK}/calls`)).toMatch(
      new RegExp(
        `Closed in the last 24 hours 10:\\d\\d No consent: ${patient.name}\\. Told how to prepare, by desk\\.`,
      ),
    )
    expect((await postForm(api.base, `${DESK}/calls/${id}/close`, { outcome: 'told' })).status).toBe(409)
    await postForm(api.base, `${DESK}/calls/${id}/reopen`, {})
    expect((await openFor(booking.id))[0]!.id).toBe(id)
    expect((await postForm(api.base, `${DESK}/calls/${id}/reopen`, {})).status).toBe(409)
  })

  it('keeps a follow-up when nobody answers, and counts the tries', async () => {
    const { booking } = await book({ consent: null })
    const { id } = (await openFor(booking.id))[0]!
    for (let i = 0; i < 2; i++) await postForm(api.base, `${DESK}/calls/${id}/close`, { outcome: 'no-answer' })
    expect(await pageText(api.base, `${DESK}/calls`)).toContain('Called 2 times without an answer, last Mon 9 Mar, 10:')
  })

  it('approves a move that waits for the desk', async () => {
    await world.putClinic({ movePolicy: 'desk-approves' }, 'skerry')
    await addOpenings(world.deps, {
      clinic: 'skerry',
      at: ['2026-03-19T09:00', '2026-03-24T09:00', '2026-03-26T09:00'],
    })
    const { booking } = await book({
      visit: `2026-03-12T10:${10 + count}`,
      clinic: 'skerry',
      cycle: { status: 'cycling', lmp: '2026-02-10', usualCycleDays: 28 },
    })
    await world.reply(phone, 'my period started yesterday')
    await world.reply(phone, '2')
    const followUp = (await openFor(booking.id)).find(({ reason }) => reason === 'approve-move')!
    const answer = await postForm(api.base, `/desk/skerry/calls/${followUp.id}/settle`, { approve: 'yes' })
    expect(answer.headers.get('location')).toBe('/desk/skerry/calls?said=approved')
    expect((await world.deps.store.read.bookings.get(booking.id))!.visitAt.toISOString()).toBe(
      '2026-03-24T12:00:00.000Z',
    )
    expect((await openFor(booking.id)).map(({ reason }) => reason)).not.toContain('approve-move')
  })
})

// Last, because the clock moves on to the next night.
describe('a message that nobody asked for', () => {
  it('waits for sending hours when nobody asked for it', async () => {
    const { patient } = await book()
    await world.passUntil('2026-03-11T01:30:00Z') // 22:30 at the clinic
    const before = world.textsTo(phone).length
    expect(
      await writeByHand(
        world.deps,
        {
          patientId: patient.id,
          clinicId: CLINIC.id,
          words: 'The lift is out of order; please use the ramp.',
          by: 'desk',
        },
        english,
      ),
    ).toBe('waiting')
    await world.passUntil('2026-03-11T11:45:00Z') // 08:45
    expect(world.textsTo(phone)).toHaveLength(before)
    await world.passUntil('2026-03-11T12:05:00Z')
    expect(world.textsTo(phone).at(-1)).toBe('Harbour Clinic: The lift is out of order; please use the ramp.')
  })
})
