import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { FullProtocol } from '../../src/domain/preparation/protocol.ts'
import { startService } from '../../src/service.ts'
import { DESK } from '../desk/reception.ts'
import { serveApi } from '../harness/api.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

// Own rule: nobody finds out from a failing reply that a file is missing.
const GONE = 'site-smear'

describe.each(STORES)('a protocol whose file was taken away, on $name', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let ids: string[]
  const protocols = () => world.deps.protocols as Map<string, FullProtocol>
  const PHONE = '+17825550101'

  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
    const shipped = protocols().get('liquid-based-cytology')!
    protocols().set(GONE, { ...shipped, id: GONE, digest: 'of-the-site', names: { en: 'Smear of the site' } })
    const visits = ['2026-03-25T09:00', '2026-04-01T23:30', '2026-04-02T09:00']
    ids = []
    for (const visit of visits) ids.push((await world.book({ visit, protocol: GONE, phone: PHONE })).booking.id)
    await world.book({ visit: '2026-03-26T09:00', name: 'Bea Lowther', phone: '+17825550102' })
    protocols().delete(GONE)
  })
  afterAll(() => opened.close())

  const start = async () => (await startService(world.config, world.composed, 'all')).stop()

  it('stops the start while visits to come need it, and says which, how many, when and what to do', async () => {
    const refused = await start().then(
      () => null,
      (error: { code: string; detail: { message: string } }) => error,
    )
    expect(refused).toMatchObject({ code: 'bad-config' })
    expect(refused!.detail.message).toContain(`${GONE}: 3 visits to come, the next on 2026-03-25`)
    expect(refused!.detail.message).toMatch(/Put its file back.*SITE_TEMPLATES_DIR.*amend those visits/)
  })

  it('counts neither visits that were, nor cancelled ones, and dates the next by its own place', async () => {
    await world.clock.moveTo(new Date('2026-03-27T13:00:00Z'))
    const api = await serveApi(world)
    expect((await api.post(`/api/v1/bookings/${ids[2]}/cancel`, { by: 'desk' })).status).toBe(200)
    await api.close()
    await expect(start()).rejects.toThrow(`${GONE}: 1 visit to come, the next on 2026-04-01`)
  })

  it('does not stop it once no visit to come needs it', async () => {
    await world.clock.moveTo(new Date('2026-04-02T13:00:00Z'))
    await start()
  })

  it('leaves the visits that were to be seen, and heard about', async () => {
    const api = await serveApi(world)
    const paths = [
      `${DESK}/visits/${ids[0]}`,
      `${DESK}/visits/${ids[2]}`,
      `${DESK}/day-sheet?date=2026-03-25`,
      `${DESK}/day-sheet?date=2026-04-01`,
      `${DESK}/bookings?date=2026-03-25`,
      `${DESK}/calls`,
      `/api/v1/bookings/${ids[0]}`,
      '/api/v1/bookings?clinic=harbour&day=2026-03-25',
      new URL(world.deps.pageOf(ids[0]!, PHONE)).pathname,
      new URL(world.deps.pageOf(ids[1]!, PHONE)).pathname,
    ]
    for (const path of paths) {
      const { status } = await fetch(api.base + path)
      expect({ path, failed: status >= 500 || status === 422 }).toEqual({ path, failed: false })
    }
    await world.reply(PHONE, 'I cannot come today')
    await world.reply(PHONE, 'my period started yesterday')
    for (const reply of await world.deps.store.read.replies.fromPhone(PHONE, new Date(0)))
      expect(reply.done).not.toBeNull()
    const ended = await api.post(`/api/v1/bookings/${ids[0]}/outcome`, { kind: 'absent', by: 'desk' })
    expect(ended.status).toBe(200)
    expect((await api.get('/api/v1/follow-ups')).body.followUps.length).toBeGreaterThan(0)
    const again = await api.post('/api/v1/bookings', {
      ...{ visit: '2026-05-06T09:00', protocol: GONE, patient: { name: 'Cleo Lowther', phone: '782 555 0103' } },
      ...{ cycle: { lmp: 'unknown' }, consent: { recordedBy: 'desk' } },
    })
    expect(again).toMatchObject({ status: 422, body: { code: 'bad-input', field: 'protocol' } })
    await api.close()
  })
})
