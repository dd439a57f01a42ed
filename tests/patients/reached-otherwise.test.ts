import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import type { Channel } from '../../src/domain/messages/texts/kinds.ts'
import type { ToldReach } from '../../src/domain/patients/how-reached.ts'
import { BY } from '../access/signed-in.ts'
import { exportPatient } from '../../src/flows/patients/export-patient.ts'
import { correctReading } from '../../src/flows/replies/correct-reading.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { writeByHand } from '../../src/flows/messages/write-by-hand.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import type { Booked, ToldConsent } from '../../src/flows/visits/booking-request.ts'
import { previewVisit } from '../../src/flows/visits/preview-visit.ts'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'
import { CLINIC } from '../harness/world.ts'

// People who cannot be texted as usual, end to end on both databases. What must hold is the product's own promise: what
// goes out goes by a way that reaches whoever agreed to it, and whom nothing reaches is on the call list. Invented
// people on virtual time; the rules are ours, no source.
const START = '2026-03-09T13:00:00Z'
const english = loadTexts().languages.get('en')!

describe.each(STORES)('on $name', ({ open }) => {
  let opened: OpenedWorld
  let people = 10
  let phone: string
  beforeAll(async () => {
    opened = await open(START)
  })
  afterAll(() => opened.close())
  beforeEach(() => {
    phone = `782 555 01${++people}`
  })
  afterEach(() => opened.world.putClinic())

  const world = () => opened.world
  const e164 = () => `+1${phone.replaceAll(' ', '')}`
  const now = () => world().clock.now()
  const inDays = (days: number) => new Date(now().getTime() + days * 86_400_000).toISOString().slice(0, 10)

  interface Asked extends ToldReach {
    name?: string
    birthDate?: string
    days?: number
    hour?: number
    consent?: ToldConsent | null
  }
  /** A visit some days on, at an hour that nobody else has. */
  function book({ name = `Patient ${people}`, birthDate, days = 10, hour = 9, consent, ...way }: Asked = {}) {
    return world().book({
      ...{
        visit: `${inDays(days)}T${String(hour).padStart(2, '0')}:00`,
        clinician: phone,
        cycle: { status: 'no-periods' },
      },
      patient: { name, phone, language: 'en', ...way, ...(birthDate && { birthDate }) },
      consent: consent === undefined ? { recordedBy: 'desk' } : consent,
    } as never)
  }
  const amend = ({ booking }: Booked, changes: object) =>
    amendBooking(world().deps, booking.id, { ...changes, by: 'desk' })
  const messagesOf = ({ booking }: Booked) => world().deps.store.read.messages.ofBooking(booking.id)
  const waiting = async (booked: Booked) =>
    (await messagesOf(booked)).filter(({ state }) => state === 'planned' || state === 'queued')
  const callsAbout = async ({ patient }: Booked) =>
    (await world().deps.store.read.followUps.list({ open: true, limit: 200 })).filter(
      ({ patientId }) => patientId === patient.id,
    )
  const reasons = async (booked: Booked) => (await callsAbout(booked)).map(({ reason }) => reason)
  const whys = async (booked: Booked) => (await callsAbout(booked)).map(({ detail }) => detail.why)
  const later = (days: number) => world().passUntil(new Date(now().getTime() + days * 86_400_000).toISOString(), 240)
  const agree = (booked: Booked, channel: Channel, more: object = {}) =>
    world().deps.store.transact(async (tx) => {
      await tx.patients.addConsent(booked.patient.id, {
        channel,
        recordedBy: 'desk',
        recordedAt: now(),
        wording: 'May we?',
        ...more,
      })
    })
  const refusal = (work: Promise<unknown>) =>
    work.then(
      () => null,
      (error: { detail: { field: string } }) => error.detail.field,
    )

  describe('a landline', () => {
    it('is called, and no text goes there: neither an answer nor what the desk writes', async () => {
      const booked = await book({ reach: 'calls-only' })
      expect((await waiting(booked)).map(({ channel }) => channel)).not.toContain('sms')
      await world().reply(e164(), 'can I have a bath? and where is it?')
      await later(0.01)
      const replies = await world().deps.store.read.replies.fromPhone(e164(), new Date(0))
      expect(replies[0]!.reading).not.toBeNull()
      const sent = (await messagesOf(booked)).filter(({ sentAt, channel }) => sentAt !== null && channel === 'sms')
      expect(sent).toEqual([])
      expect(
        (await reasons(booked)).filter((each) => each === 'answer-not-sent' || each === 'prep-question'),
      ).not.toEqual([])
      const hand = { patientId: booked.patient.id, clinicId: 'harbour', words: 'Please ring us.', by: 'desk' }
      expect(await refusal(writeByHand(world().deps, hand, english))).toBe('words')
    })

    it('is not told by text when the call comes to nothing, though texts were agreed to', async () => {
      const booked = await book({ reach: 'calls-only', days: 4 })
      await agree(booked, 'sms')
      const [prep] = (await waiting(booked)).filter(({ kind }) => kind === 'prep')
      await world().deps.store.transact((tx) =>
        tx.messages.move(prep!.id, ['planned', 'queued'], 'sent', { sentAt: now() }),
      )
      await takeReceipt(world().deps, { gateway: 'pocket', messageId: prep!.id, state: 'undelivered', at: now() })
      expect((await messagesOf(booked)).filter(({ fallbackOf }) => fallbackOf)).toEqual([])
      expect(await reasons(booked)).toContain('not-delivered')
    })

    it('is remembered when a visit is booked again without a word of it, and forgotten with the number', async () => {
      const booked = await book({ reach: 'calls-only' })
      const again = await book({ days: 20 })
      expect(again.patient).toMatchObject({ id: booked.patient.id, reach: 'calls-only', channel: 'voice' })
      expect(await refusal(book({ days: 30, channel: 'sms' }))).toBe('patient.channel')
      const moved = await amend(again, { patient: { phone: '782 555 0199', channel: 'sms' } })
      expect(moved.patient).toMatchObject({ reach: 'both', channel: 'sms' })
    })

    it('of a mother is not the daughter’s at the same number, until that is told', async () => {
      const mother = await book({ name: 'Mother Marsh', reach: 'calls-only' })
      const daughter = await book({ name: 'Daughter Marsh', hour: 11 })
      expect([mother.patient.reach, daughter.patient.reach]).toEqual(['calls-only', 'both'])
    })

    it('that is told while a text waits takes the text back, and a person calls', async () => {
      const booked = await book({ days: 6 })
      await later(0.5)
      const hand = { patientId: booked.patient.id, clinicId: 'harbour', words: 'Please ring us.', by: 'desk' }
      await writeByHand(world().deps, hand, english)
      await amend(booked, { patient: { reach: 'calls-only' } })
      expect(await reasons(booked)).toEqual(expect.arrayContaining(['text-lost', 'no-consent']))
      expect((await waiting(booked)).filter(({ channel }) => channel === 'sms')).toEqual([])
    })
  })

  describe('who does not hear a call', () => {
    it('is not called when the text comes to nothing, though calls were agreed to', async () => {
      const booked = await book({ reach: 'texts-only', days: 4 })
      await agree(booked, 'voice')
      const [prep] = (await waiting(booked)).filter(({ kind }) => kind === 'prep')
      await world().deps.store.transact((tx) =>
        tx.messages.move(prep!.id, ['planned', 'queued'], 'sent', { sentAt: now() }),
      )
      await takeReceipt(world().deps, { gateway: 'pocket', messageId: prep!.id, state: 'undelivered', at: now() })
      expect((await messagesOf(booked)).filter(({ channel }) => channel === 'voice')).toEqual([])
      expect(await reasons(booked)).toContain('not-delivered')
    })

    it('stays so at another number; at a landline a person finds a way', async () => {
      const booked = await book({ reach: 'texts-only' })
      expect(await refusal(amend(booked, { patient: { channel: 'voice' } }))).toBe('patient.channel')
      expect((await amend(booked, { patient: { phone: '782 555 0198' } })).patient.reach).toBe('texts-only')
      await amend(booked, { patient: { reach: 'neither' } })
      expect(await waiting(booked)).toEqual([])
      expect(await whys(booked)).toContainEqual(expect.stringMatching(/find another way/))
    })
  })

  describe('somebody who receives for the patient', () => {
    const receiver = { relation: 'guardian', name: 'Bo Marsh' } as const

    it('agrees in the own right, and is written to discreetly', async () => {
      const booked = await book({ receiver })
      expect((await messagesOf(booked)).every(({ detail }) => detail === 'discreet')).toBe(true)
      const [consent] = await world().deps.store.read.patients.consents(booked.patient.id)
      expect(consent).toMatchObject({ givenBy: 'receiver' })
      expect(await refusal(amend(booked, { patient: { detail: 'full' } }))).toBe('patient.detail')
      const agreed = await amend(booked, { patient: { receiver: { ...receiver, fullDetail: true }, detail: 'full' } })
      expect(agreed.patient.detail).toBe('full')
      const back = await amend(booked, { patient: { receiver: { ...receiver, fullDetail: false } } })
      expect(back.patient.detail).toBe('discreet')
    })

    it('is asked for consent where the patient alone had agreed, and START is the receiver’s', async () => {
      const booked = await book()
      await amend(booked, { patient: { receiver } })
      expect(await waiting(booked)).toEqual([])
      expect(await whys(booked)).toContainEqual(expect.stringMatching(/Somebody else receives/))
      await world().reply(e164(), 'STOP')
      await world().reply(e164(), 'START')
      expect((await waiting(booked)).length).toBeGreaterThan(0)
      expect((await world().deps.store.read.patients.consents(booked.patient.id)).at(-1)).toMatchObject({
        givenBy: 'receiver',
      })
      await world().reply(e164(), 'wrong number')
      expect(await reasons(booked)).toContain('wrong-person')
    })

    it('stands in what is held on the patient, sealed in the database', async () => {
      const booked = await book({ receiver, reach: 'texts-only', consent: { recordedBy: 'desk', until: inDays(60) } })
      const { held } = await exportPatient(world().deps, booked.patient.id, BY)
      expect(held.patient).toMatchObject([
        { reach: 'texts-only', receiver: { name: 'Bo Marsh', relation: 'guardian' } },
      ])
      expect(held.consent).toMatchObject([{ until: inDays(60), given_by: 'receiver' }])
    })
  })

  describe('a minor by the clinic’s rule', () => {
    it('is not booked without a guardian; a birth date that is not known is no minor’s', async () => {
      await world().putClinic({ minors: { below: 16, then: 'guardian' } })
      expect(await refusal(book({ birthDate: '2012-05-01' }))).toBe('patient.receiver')
      expect(await refusal(book({ birthDate: '2012-05-01', receiver: { relation: 'partner', name: 'Bo' } }))).toBe(
        'patient.receiver',
      )
      const booked = await book({ birthDate: '2012-05-01', receiver: { relation: 'guardian', name: 'Bo' } })
      expect((await waiting(booked)).length).toBeGreaterThan(0)
      expect(await refusal(amend(booked, { patient: { receiver: null } }))).toBe('patient.receiver')
      const unknown = await book({ name: 'Somebody Unknown', hour: 12 })
      expect(await refusal(amend(unknown, { patient: { birthDate: '2012-05-01' } }))).toBe('patient.receiver')
    })

    it('gets nothing where a person tells, also by a rule that came after the plan', async () => {
      const before = await book({ birthDate: '2012-05-01', days: 5 })
      await world().putClinic({ minors: { below: 16, then: 'person' } })
      const booked = await book({ name: 'Another Minor', birthDate: '2012-05-01', days: 5, hour: 11 })
      expect(await waiting(booked)).toEqual([])
      expect(await reasons(booked)).toContain('person-tells')
      const texts = world().textsTo(e164()).length
      await later(4)
      expect(world().textsTo(e164())).toHaveLength(texts)
      expect(await reasons(before)).toContain('person-tells')
    })
  })

  describe('consent with an end', () => {
    it('leaves of the plan what comes before it, and a person tells the rest', async () => {
      const booked = await book({ consent: { recordedBy: 'desk', until: inDays(3) } })
      const all = await messagesOf(booked)
      expect(all.length).toBeGreaterThan(0)
      expect(all.every(({ sendAt }) => sendAt.toISOString().slice(0, 10) <= inDays(4))).toBe(true)
      expect(booked.plan.warnings.map(({ code }) => code)).toContain('consent-ends')
      expect(await whys(booked)).toContainEqual(expect.stringMatching(/^The consent ends on/))
      await amend(booked, { consent: { recordedBy: 'desk' } })
      expect((await waiting(booked)).map(({ kind }) => kind)).toContain('prep')
      expect(await reasons(booked)).toEqual([])
    })

    it('that passes while messages wait brings the visit on the call list at once', async () => {
      const booked = await book({ days: 12 })
      expect((await waiting(booked)).length).toBeGreaterThan(0)
      // As it is after a restore or a correction in the database: the plan was made with more consent than there is.
      await world().deps.store.transact(async (tx) => {
        await tx.patients.withdrawConsents(booked.patient.id, null, now())
      })
      await agree(booked, 'sms', { until: inDays(1) })
      await later(3)
      expect(await waiting(booked)).toEqual([])
      expect(await whys(booked)).toContainEqual(expect.stringMatching(/^The consent ended on/))
      await agree(booked, 'sms')
      await amend(booked, {})
      expect((await waiting(booked)).map(({ kind }) => kind)).toContain('prep')
    })

    it('is refused where the day has passed', async () => {
      expect(await refusal(book({ consent: { recordedBy: 'desk', until: inDays(-2) } }))).toBe('consent.until')
    })
  })

  describe('a number that may have changed hands', () => {
    const preview = (agreed: boolean) =>
      previewVisit(world().deps, {
        ...{
          clinic: CLINIC,
          clinician: phone,
          protocol: 'liquid-based-cytology',
          zone: CLINIC.zone,
          reach: {},
          agrees: agreed ? { until: null } : null,
        },
        visitAt: new Date(`${inDays(12)}T15:00:00Z`),
        patient: {
          clinicId: 'harbour',
          name: `Patient ${people}`,
          phone: e164(),
          language: 'en',
          cycle: { status: 'no-periods' },
        },
      })

    async function comesBack(times: number) {
      world().pocket.behave(e164(), { fate: 'undelivered', receiptAfterMs: 1_000, times })
      for (let n = 0; n < times; n++) {
        await world().reply(e164(), 'what should I do to get ready?')
        await later(0.02)
      }
    }

    it('is asked for consent again after three messages came back; fresh consent settles it', async () => {
      const booked = await book({ days: 20 })
      await later(0.5)
      await comesBack(3)
      expect((await preview(false)).obstacle?.why).toMatch(/may have changed hands/)
      expect((await preview(true)).obstacle).toBeNull()
      const again = await book({ days: 25, hour: 11, consent: null })
      expect(await waiting(again)).toEqual([])
      expect(await waiting(booked)).toEqual([])
      expect(await whys(again)).toContainEqual('The number may have changed hands: ask whose it is, then for consent.')
      await amend(again, { consent: { recordedBy: 'desk' } })
      expect((await waiting(again)).map(({ kind }) => kind)).toContain('prep')
      expect((await waiting(booked)).map(({ kind }) => kind)).toContain('prep')
    })

    it('is not doubted where consent comes with the booking', async () => {
      await book({ days: 20 })
      await later(0.5)
      await comesBack(3)
      const again = await book({ days: 25, hour: 11 })
      expect((await waiting(again)).map(({ kind }) => kind)).toContain('prep')
    })

    it('is doubted at once where "wrong person" was taken back at the desk, until consent is recorded anew', async () => {
      const booked = await book({ days: 20 })
      await world().reply(e164(), 'wrong number')
      const [reply] = await world().deps.store.read.replies.fromPhone(e164(), new Date(0))
      await correctReading(world().deps, reply!.id, { meaning: 'thanks', by: 'desk' })
      expect(await waiting(booked)).toEqual([])
      expect(await whys(booked)).toContainEqual(expect.stringMatching(/may have changed hands/))
      const again = await book({ days: 25, hour: 11, consent: null })
      expect(await waiting(again)).toEqual([])
      expect(await whys(again)).toContainEqual(expect.stringMatching(/may have changed hands/))
      // Whoever has the number now cannot agree for the patient.
      await world().reply(e164(), 'START')
      expect(await waiting(again)).toEqual([])
      await amend(again, { consent: { recordedBy: 'desk' } })
      expect((await waiting(booked)).map(({ kind }) => kind)).toContain('prep')
    })

    it('is doubted after a year of silence, by the clinic’s own number of months', async () => {
      const long = { recordedBy: 'desk', recordedAt: '2025-01-10T10:00' }
      await book({ days: 20, consent: long, hour: 15 })
      await world().deps.store.transact((tx) => tx.messages.withdrawUnsent({ phone: e164() }, 'gone', now()))
      await world().putClinic({ askAgainMonths: 24 })
      const trusted = await book({ days: 25, hour: 11, consent: null })
      expect((await waiting(trusted)).length).toBeGreaterThan(0)
      await world().deps.store.transact((tx) => tx.messages.withdrawUnsent({ phone: e164() }, 'gone', now()))
      await world().putClinic({ askAgainMonths: 12 })
      expect(await waiting(await book({ days: 30, hour: 12, consent: null }))).toEqual([])
    })
  })
})
