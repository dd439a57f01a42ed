import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { isOver } from '../../src/domain/visits/over.ts'
import { serveApi } from '../harness/api.ts'
import type { TestWorld } from '../harness/world.ts'
import { DESK, postForm } from '../desk/reception.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

// Own rule: what was is not rewritten. A visit may be put right until its day has ended where it takes place.
describe('a visit', () => {
  const visit = { visitAt: new Date('2026-03-25T12:00:00Z'), minutes: 20, zone: 'America/Halifax' }
  it.each([
    ['before it begins', '2026-03-25T11:59:00Z', false],
    ['in the evening of its day', '2026-03-26T02:59:59Z', false],
    ['once its day has ended in its zone', '2026-03-26T03:00:00Z', true],
  ])('%s', (_when, now, over) => {
    expect(isOver(visit, new Date(now))).toBe(over)
  })
})

describe.each(STORES)('a visit whose day has passed, on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  let visit: string
  let patientId: string
  let waiting: { booking: string; offer: string; call: string }
  const PHONE = '+17825550101'
  const address = (id = visit) => `/api/v1/bookings/${id}`

  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
    await world.putClinic({ movePolicy: 'desk-approves' })
    await world.openings('2026-04-08T09:00', '2026-04-09T09:00')
    api = await serveApi(world)
    const { booking } = await world.book({ visit: '2026-03-25T09:00', phone: PHONE })
    ;({ id: visit, patientId } = booking)
    waiting = await moveToApprove()
    await world.clock.moveTo(new Date('2026-03-25T20:00:00Z'))
  })
  afterAll(async () => {
    await api.close()
    await opened.close()
  })

  /** A patient chose another time, and the desk has not said a word yet. */
  async function moveToApprove() {
    const phone = '+17825550102'
    const { booking } = await world.book({ visit: '2026-03-25T10:00', phone, name: 'Bea Lowther' })
    await world.clock.moveTo(new Date('2026-03-22T14:00:00Z'))
    await world.reply(phone, 'I cannot come on that day, another day please')
    await world.reply(phone, '1')
    const offer = (await world.deps.store.read.offers.pending(booking.id))!
    expect(offer.state).toBe('waiting')
    const calls = await world.deps.store.read.followUps.list({ bookingId: booking.id, open: true, limit: 9 })
    const call = calls.find(({ reason }) => reason === 'approve-move')!
    return { booking: booking.id, offer: offer.id, call: call.id }
  }

  const page = async (path: string) => (await fetch(`${api.base}${DESK}/${path}`)).text()
  const everything = async () => {
    const { records } = world.composed.database
    const tables = ['booking', 'patient', 'consent', 'slot', 'offer', 'message', 'follow_up']
    const rows = tables.map((table) => records.query(`select * from daysix.${table} order by id`))
    return JSON.stringify((await Promise.all(rows)).map((answer) => answer.rows))
  }

  it('may still be put right in the evening', async () => {
    const { status } = await api.patch(address(), { purpose: 'symptoms', by: 'desk' })
    expect(status).toBe(200)
    expect(await page(`visits/${visit}`)).toContain('Cancel the visit')
    await world.clock.moveTo(new Date('2026-03-26T12:00:00Z'))
  })

  it.each([
    ['another time', { visit: '2026-04-01T09:00' }],
    ['the purpose', { purpose: 'routine' }],
    ['the protocol', { protocol: 'conventional-smear' }],
    ['the period', { cycle: { lmp: '2026-03-20' } }],
    ['the number', { patient: { phone: '782 555 0109' } }],
    ['consent', { consent: { recordedBy: 'desk' } }],
    ['another zone, in which it would not be over', { zone: 'Pacific/Pago_Pago' }],
  ])('is not amended: %s', async (_what, change) => {
    const before = await everything()
    const { status, body } = await api.patch(address(), { ...change, by: 'desk' })
    expect({ status, code: body.code }).toEqual({ status: 409, code: 'too-late' })
    expect(body.detail).toMatch(/Record how it ended.*next visit/)
    expect(await everything()).toBe(before)
  })

  it('is not cancelled, and no move of it is settled', async () => {
    const before = await everything()
    expect(await api.post(`${address()}/cancel`, { by: 'desk' })).toMatchObject({ body: { code: 'too-late' } })
    for (const approve of [true, false]) {
      const settled = await api.post(`/api/v1/offers/${waiting.offer}/settle`, { approve, by: 'desk' })
      expect(settled).toMatchObject({ status: 409, body: { code: 'too-late' } })
    }
    expect(await everything()).toBe(before)
  })

  it.each([
    ['move', { other: '2026-04-01T09:00' }],
    ['cancel', {}],
    ['period', { lmp: '2026-03-20' }],
    ['purpose', { purpose: 'routine', due: '' }],
  ])('is not changed by a form that was left open: %s', async (deed, fields) => {
    const before = await everything()
    const { status } = await postForm(api.base, `${DESK}/visits/${visit}/${deed}`, fields)
    expect(status).toBe(409)
    expect(await everything()).toBe(before)
  })

  it('has no buttons that would be refused, and says what can be done', async () => {
    const html = await page(`visits/${visit}`)
    for (const words of ['Move the visit', 'Correct the last period', 'Correct the purpose', 'Cancel the visit'])
      expect(html).not.toContain(words)
    expect(html).toContain('/day-sheet?date=2026-03-25')
    const calls = await page('calls')
    expect(calls).toContain(waiting.call)
    expect(calls).not.toContain(`calls/${waiting.call}/settle`)
    expect(calls).toContain('the day of the visit has passed')
  })

  it('lets what concerns the patient happen: consent withdrawn, STOP, a corrected number on the next visit', async () => {
    const withdrawn = await api.post(`/api/v1/patients/${patientId}/consent/withdraw`, { channel: 'sms', by: 'desk' })
    expect(withdrawn.body).toEqual({ withdrawn: 1 })
    const next = await world.book({ visit: '2026-05-06T09:00', phone: PHONE, consent: null })
    expect(next.booking.patientId).toBe(patientId)
    const corrected = await api.patch(address(next.booking.id), { patient: { phone: '782 555 0109' }, by: 'desk' })
    expect(corrected.body.booking.patient.phone).toBe('+17825550109')
    await world.reply('+17825550109', 'STOP')
    expect(await world.deps.store.read.optOuts.has('+17825550109')).toBe(true)
  })

  it('takes how it ended, which ends the offer too', async () => {
    const ended = await api.post(`${address(waiting.booking)}/outcome`, { kind: 'absent', by: 'desk' })
    expect(ended.status).toBe(200)
    expect(await world.deps.store.read.offers.pending(waiting.booking)).toBeUndefined()
    expect(await page('calls')).not.toContain(`calls/${waiting.call}/close`)
  })

  it('goes when the patient is erased', async () => {
    expect((await api.delete(`/api/v1/patients/${patientId}`)).status).toBe(200)
    expect((await api.get(address())).status).toBe(404)
  })
})
