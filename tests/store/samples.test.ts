import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { takeFigures } from '../../src/flows/messages/take-figures.ts'
import { startSampling } from '../../src/adapters/worker/sampling.ts'
import { eventually } from '../../infra/chaos/service-process.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES } from './stores.ts'

// What is counted was put there beforehand, by hand. Invented figures.
describe.each(STORES)('figures of a week in $name', ({ open }) => {
  let world: TestWorld
  let close: () => Promise<void>

  beforeAll(async () => ({ world, close } = await open('2026-03-09T13:02:10Z')))
  afterAll(() => close())

  const query = (text: string, values: unknown[] = []) => world.composed.database.records.query(text, values)
  let next = 0
  const message = (state: string, times: { sendAt?: string; sentAt?: string; endedAt?: string }) =>
    query(
      `insert into message (id, clinic_id, phone_print, kind, channel, detail, language, unsolicited, send_at, not_after, state, attempt, gateway, sealed, sent_at, ended_at)
       values ($1, 'harbour', 'p', 'prep', 'sms', 'full', 'en', true, $2, '2026-04-01Z', $3, 0, 'pocket', 'x', $4, $5)`,
      [`m_${next++}`, times.sendAt ?? '2026-03-09T00:00:00Z', state, times.sentAt ?? null, times.endedAt ?? null],
    )
  const take = (sweepSeconds: number | null = null) => takeFigures(world.deps, sweepSeconds)
  const samples = () => world.deps.store.read.standing.samples(new Date(0))

  it('are what stands there, under the moment that has begun', async () => {
    await message('queued', { sendAt: '2026-03-09T12:52:10Z' })
    await message('planned', { sendAt: '2026-03-09T13:02:00Z' })
    await message('planned', { sendAt: '2026-03-09T13:02:20Z' })
    await message('delivered', { sentAt: '2026-03-09T12:02:20Z' })
    await message('sent', { sentAt: '2026-03-09T13:02:00Z' })
    await message('sent', { sentAt: '2026-03-09T12:02:00Z' })
    await message('failed', { endedAt: '2026-03-09T12:30:00Z' })
    await message('undelivered', { sentAt: '2026-03-08T12:00:00Z', endedAt: '2026-03-09T12:40:00Z' })
    await message('expired', { endedAt: '2026-03-09T12:00:00Z' })
    await query(`insert into worker (id) values ('w_1'), ('w_2')`)
    expect(await take(1.25)).toBe(true)
    expect(await samples()).toEqual([
      {
        at: new Date('2026-03-09T13:00:00Z'),
        overdue: 2,
        oldestSeconds: 600,
        sent: 2,
        notArrived: 2,
        urgentCalls: 0,
        workers: 2,
        sweepSeconds: 1.25,
      },
    ])
  })

  it('are written down once for a moment, however many workers look', async () => {
    await world.clock.moveTo(new Date('2026-03-09T13:06:00Z'))
    const taken = await Promise.all([take(), take(), take()])
    expect(taken.filter(Boolean)).toHaveLength(1)
    expect(await take()).toBe(false)
    expect((await samples()).map(({ at }) => at.toISOString())).toEqual([
      '2026-03-09T13:00:00.000Z',
      '2026-03-09T13:05:00.000Z',
    ])
  })

  it('go after eight days', async () => {
    await world.clock.moveTo(new Date('2026-03-17T13:04:00Z'))
    await take()
    expect((await samples()).map(({ at }) => at.toISOString())).toEqual([
      '2026-03-09T13:05:00.000Z',
      '2026-03-17T13:00:00.000Z',
    ])
  })

  it('are kept by a worker as long as it runs', async () => {
    await world.clock.moveTo(new Date('2026-03-17T13:06:00Z'))
    const sampling = startSampling(world.deps, (error) => expect.fail(error.message))
    await eventually(
      'it was written down',
      async () => (await samples()).at(-1)!.at.toISOString() === '2026-03-17T13:05:00.000Z',
    )
    await sampling.stop()
  })

  it('say who sends, and since when nothing was heard of them', async () => {
    await query(`update worker set seen_at = now() - interval '5 minutes' where id = 'w_1'`)
    const [oldest, newest] = await world.deps.store.read.standing.workers()
    expect(oldest!.silentSeconds).toBeGreaterThanOrEqual(300)
    expect(newest!.silentSeconds).toBeLessThan(300)
  })

  it('say how far clocks are off and how the last backup went', async () => {
    expect(await world.deps.store.read.standing.lastBackup()).toBeNull()
    await query(`update worker set clock_offset_ms = -4200 where id = 'w_1'`)
    const [first, second] = await world.deps.store.read.standing.workers()
    expect([first!.clockOffsetMs, second!.clockOffsetMs]).toEqual([-4200, null])
    await query(
      `insert into backup_run (at, outcome, bytes) values ('2026-03-16T02:00Z', 'failed', null),
        ('2026-03-17T02:00Z', 'done', 1234567), ('2026-03-17T03:00Z', 'begun', null)`,
    )
    expect(await world.deps.store.read.standing.lastBackup()).toEqual({
      at: new Date('2026-03-17T02:00:00Z'),
      outcome: 'done',
      bytes: 1_234_567,
      detail: null,
    })
  })
})
