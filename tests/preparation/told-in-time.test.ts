import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Gateway } from '../../src/flows/ports/gateway.ts'
import { takeReceipt } from '../../src/flows/messages/take-receipt.ts'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'
import { Wire } from '../messages/wire.ts'

// Visits booked minutes before the 48 hours of preparation begin (common practice, no source). Invented people.
const B = '/api/v1/bookings'

describe('a visit booked five minutes before its preparation begins, the last period unknown', () => {
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  let id: string
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-18T13:25:00Z', undefined, [
      Object.assign(new Wire() as Gateway, { receipts: true }),
    ])
    await world.putClinic({ gateway: 'wire' })
    api = await serveApi(world)
  })
  afterAll(async () => {
    await api.close()
    await world.close()
  })

  const open = async () => {
    const { body } = await api.get('/api/v1/follow-ups?clinic=harbour')
    return body.followUps.map(({ reason }: { reason: string }) => reason).sort()
  }
  const shown = async () => (await api.get(`${B}/${id}`)).body.booking
  const prep = async () => (await world.deps.store.read.messages.ofBooking(id)).find(({ kind }) => kind === 'prep')!

  it('warns of both, and puts both on the call list', async () => {
    const { body } = await api.post(B, {
      visit: '2026-03-20T10:30',
      patient: { name: 'Merit Oxlade', phone: '782 555 0141' },
      cycle: { lmp: 'unknown' },
      consent: { recordedBy: 'desk' },
    })
    id = body.booking.id
    expect(body.plan.warnings.map(({ code }: { code: string }) => code).sort()).toEqual(['not-asked', 'tight'])
    expect(body.booking.shortNotice).toBe(true)
    expect(await open()).toEqual(['ask-lmp', 'short-notice'])
  })

  it('counts as told late when it arrives only after they have begun', async () => {
    await world.passUntil('2026-03-18T13:29:00Z', 1)
    const { id: messageId } = await prep()
    // So near the mark nobody waits for a receipt: a person calls.
    expect((await shown()).preparation).toBe('not-reached')
    const at = new Date('2026-03-18T13:31:00Z')
    await takeReceipt(world.deps, { gateway: 'wire', messageId, state: 'delivered', at })
    expect((await shown()).preparation).toBe('told-late')
  })

  it('stays short notice, and closes its question once the period is told', async () => {
    await api.patch(`${B}/${id}`, { cycle: { lmp: '2026-03-06' } })
    expect(await open()).toEqual(['short-notice'])
    expect((await shown()).shortNotice).toBe(true)
  })

  it('asks nobody twice: a question that the desk has closed is not opened by the next plan', async () => {
    const { body } = await api.post(B, {
      visit: '2026-03-20T11:00',
      patient: { name: 'Tova Brack', phone: '782 555 0142' },
      cycle: { lmp: 'unknown' },
      consent: { recordedBy: 'desk' },
    })
    const calls = (await api.get('/api/v1/follow-ups?clinic=harbour')).body.followUps
    const call = calls.find(
      ({ reason, booking }: { reason: string; booking: { id: string } | string }) =>
        reason === 'ask-lmp' && JSON.stringify(booking).includes(body.booking.id),
    )
    await api.post(`/api/v1/follow-ups/${call.id}/close`, { by: 'desk', outcome: 'does not know' })
    await api.patch(`${B}/${body.booking.id}`, { patient: { detail: 'discreet' } })
    expect(await open()).not.toContain('ask-lmp')
  })
})

describe('a gateway that gives no receipts', () => {
  it('is believed: what it took before the hours begin is told', async () => {
    const world = await TestWorld.create('2026-03-17T13:00:00Z', undefined, [new Wire()])
    await world.putClinic({ gateway: 'wire' })
    const api = await serveApi(world)
    const { booking } = await world.book({ visit: '2026-03-20T10:30' })
    await world.passUntil('2026-03-18T14:00:00Z', 60)
    expect((await api.get(`${B}/${booking.id}`)).body.booking.preparation).toBe('told')
    await api.close()
    await world.close()
  })
})
