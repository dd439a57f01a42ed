import { parse } from 'csv-parse/sync'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { MOST_FIELDS, MOST_ROWS } from '../../src/adapters/http/desk/form-limits.ts'
import type { FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import { correctReading } from '../../src/flows/replies/correct-reading.ts'
import { amendBooking } from '../../src/flows/visits/amend-booking.ts'
import type { Booked } from '../../src/flows/visits/booking-request.ts'
import { serveApi } from '../harness/api.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

// Lists of many calls: what one press may do, and what it says it did. Own rules, no source; invented people.
describe.each(STORES)('on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  let people = 0
  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
    api = await serveApi(world)
  })
  afterAll(async () => {
    await api.close()
    await opened.close()
  })

  const page = async (path: string) => String(await (await fetch(`${api.base}/desk/harbour/${path}`)).text())
  const post = (path: string, ids: readonly string[], more: Record<string, string>) =>
    fetch(`${api.base}/desk/harbour/${path}`, {
      method: 'POST',
      body: new URLSearchParams([...ids.map((id): [string, string] => ['chosen', id]), ...Object.entries(more)]),
      headers: { Origin: api.base },
      redirect: 'manual',
    })
  const book = (more: object = {}): Promise<Booked> => {
    const number = `782 555 01${++people + 10}`
    return world.book({
      ...{ name: `Patient ${people}`, phone: number, clinician: number, visit: '2026-04-20T10:00' },
      ...{ cycle: { status: 'no-periods' }, ...more },
    } as never)
  }
  const callAbout = async ({ booking }: Booked, reason: FollowUpReason = 'no-consent') =>
    (await world.deps.store.read.followUps.list({ bookingId: booking.id, reasons: [reason], open: true, limit: 5 }))[0]
  const consents = ({ patient }: Booked) => world.deps.store.read.patients.consents(patient.id)
  const record = (ids: readonly string[]) =>
    post('calls/alike/no-consent/consent', ids, { wording: 'Asked on paper, kept in our records.' })

  /** Somebody there wrote that it is another's number, and the desk took that back. */
  async function doubted(more: object = {}): Promise<Booked> {
    const booked = await book(more)
    await world.reply(booked.patient.phone, 'wrong number')
    const [reply] = await world.deps.store.read.replies.fromPhone(booked.patient.phone, new Date(0))
    await correctReading(world.deps, reply!.id, { meaning: 'thanks', by: 'desk' })
    return booked
  }

  describe('the consent of many', () => {
    it('does not settle a doubt that the list does not show', async () => {
      const ended = await doubted({ consent: { recordedBy: 'desk', until: '2026-03-12' } })
      const received = await doubted()
      await amendBooking(world.deps, received.booking.id, {
        by: 'desk',
        patient: { receiver: { relation: 'partner', name: 'Bo' } },
      })
      for (const each of [ended, received]) {
        const before = await consents(each)
        const answer = await record([(await callAbout(each))!.id])
        expect(answer.status).toBe(422)
        expect(await answer.text()).toMatch(/Not recorded for 1 patient: the number may have changed hands/)
        expect(await consents(each)).toEqual(before)
        expect((await callAbout(each))!.detail.why).toMatch(/may have changed hands/)
      }
    })

    it('finds a number that has fallen silent since the list was made', async () => {
      const silent = await book({
        consent: { recordedBy: 'desk', recordedAt: '2025-01-10T10:00', until: '2026-03-09' },
      })
      await world.deps.store.transact((tx) =>
        tx.messages.withdrawUnsent({ phone: silent.patient.phone }, 'gone', world.clock.now()),
      )
      expect((await record([(await callAbout(silent))!.id])).status).toBe(422)
      expect((await world.deps.store.read.patients.get(silent.patient.id))!.handsDoubt).toMatchObject({ why: 'silent' })
    })

    it('says for how many it is recorded, for how many not, and why', async () => {
      const agreed = [await book({ consent: null }), await book({ consent: null })]
      const [over, refuses, unsure, closed] = [
        await book({ consent: null, visit: '2026-03-09T22:00' }),
        await book({ consent: null }),
        await doubted(),
        await book({ consent: null }),
      ]
      const ids = await Promise.all(
        [...agreed, over, refuses, unsure, closed].map(async (each) => (await callAbout(each))!.id),
      )
      await world.deps.store.transact(async (tx) => {
        await tx.optOuts.add(refuses.patient.phone, 'stop', world.clock.now())
        await tx.followUps.close(ids.at(-1)!, 'desk', 'called', world.clock.now())
      })
      await world.clock.moveTo(new Date('2026-03-10T13:00:00Z'))
      const answer = await record(ids)
      expect(answer.status).toBe(303)
      const said = await page(answer.headers.get('location')!.replace('/desk/harbour/', ''))
      for (const words of [
        /Consent is recorded for 2 patients, and their messages are planned/,
        /Not recorded for 1 patient: the number may have changed hands/,
        /Not recorded for 1 patient: the number refuses messages/,
        /Not recorded for 1 patient: the visit is over/,
        /1 of those chosen somebody else had seen to/,
      ])
        expect(said).toMatch(words)
      for (const each of agreed)
        expect(await consents(each)).toMatchObject([{ wording: expect.stringMatching(/paper/) }])
      for (const each of [over, refuses, closed]) expect(await consents(each)).toEqual([])
      for (const each of agreed) expect(await callAbout(each)).toBeUndefined()
    })

    it('is recorded once for a patient of whom two visits were chosen', async () => {
      const first = await book({ consent: null })
      const second = await world.book({
        ...{ name: first.patient.name, phone: first.patient.phone, visit: '2026-05-20T10:00' },
        ...{ consent: null, cycle: { status: 'no-periods' } },
      })
      const ids = await Promise.all([first, second].map(async (each) => (await callAbout(each))!.id))
      const answer = await record(ids)
      expect(answer.headers.get('location')).toContain('recorded=1&')
      expect(await consents(first)).toHaveLength(1)
      expect(await Promise.all([first, second].map((each) => callAbout(each)))).toEqual([undefined, undefined])
    })
  })

  describe('a list longer than a page', () => {
    const REASON = 'plan-not-kept'
    const MORE = 3
    let soon: Booked
    beforeAll(async () => {
      const far = await book({ visit: '2026-06-26T10:00' })
      soon = await book({ name: 'Soon Marsh', visit: '2026-03-12T10:00' })
      await world.deps.store.transact(async (tx) => {
        for (let n = 0; n < MOST_ROWS + MORE; n++) {
          const { booking, patient } = n === MOST_ROWS + MORE - 1 ? soon : far
          await tx.followUps.insert({
            ...{ id: `f_many${String(n).padStart(4, '0')}`, reason: REASON, clinicId: 'harbour' },
            ...{ bookingId: booking.id, patientId: patient.id, phone: patient.phone, detail: {} },
            ...{ openedAt: new Date(world.clock.now().getTime() + n), closedAt: null, closedBy: null, outcome: null },
          })
        }
      })
    })
    const shown = async () =>
      [...(await page(`calls/alike/${REASON}`)).matchAll(/name="chosen" value="(f_[^"]+)"/g)].map(([, id]) => id!)

    it('begins with the soonest visit, and says how many it leaves out', async () => {
      const list = await page(`calls/alike/${REASON}`)
      expect(list).toContain(`${MOST_ROWS + MORE} visits`)
      expect(list).toContain(`${MORE} more follow`)
      expect(list).toContain('Soon Marsh')
      expect(await shown()).toHaveLength(MOST_ROWS)
    })

    it('is whole in the file, the soonest visit first', async () => {
      const rows: string[][] = parse(await page(`calls/alike/${REASON}/file`))
      expect(rows).toHaveLength(MOST_ROWS + MORE + 1)
      expect(rows[1]![0]).toBe('Soon Marsh')
    })

    it('goes on page by page in order, each call once', async () => {
      const { followUps, bookings } = world.deps.store.read
      const seen: string[] = []
      let after: { at: Date; id: string } | undefined
      for (;;) {
        const some = await followUps.alike({ clinicId: 'harbour', reason: REASON, limit: 70, ...(after && { after }) })
        seen.push(...some.map(({ id }) => id))
        if (some.length < 70) break
        const last = some.at(-1)!
        after = { at: (await bookings.get(last.bookingId!))!.visitAt, id: last.id }
      }
      expect(new Set(seen).size).toBe(MOST_ROWS + MORE)
      expect(seen).toHaveLength(MOST_ROWS + MORE)
    })

    it('is settled as a page shows it, every row ticked', async () => {
      const answer = await post(`calls/alike/${REASON}`, await shown(), { outcome: 'not-needed' })
      expect([answer.status, answer.headers.get('location')]).toEqual([303, expect.stringMatching(/closed-many/)])
      expect(await shown()).toHaveLength(MORE)
    })

    it('a form of more fields than any page has is refused, and says so', async () => {
      const answer = await post(
        `calls/alike/${REASON}`,
        Array.from({ length: MOST_FIELDS + 1 }, (_, n) => `f_${n}`),
        { outcome: 'not-needed' },
      )
      expect(answer.status).toBe(413)
      expect(await answer.text()).toMatch(/Choose fewer at once/)
    })
  })
})
