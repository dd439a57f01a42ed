import { describe, expect, it } from 'vitest'
import { linesOf, type Standing } from '../../src/adapters/http/desk/service-lines.ts'

const NOW = new Date('2026-03-09T13:00:00Z')
const before = (minutes: number) => new Date(NOW.getTime() - minutes * 60_000)
const GIB = 1024 ** 3

// Own rules, no source; invented figures.
const WELL: Standing = {
  now: NOW,
  version: '1.2.3',
  since: before(600),
  oldestDue: null,
  stopped: false,
  sends: true,
  workers: [
    { silentSeconds: 4.4, clockOffsetMs: -300 },
    { silentSeconds: 1, clockOffsetMs: 120 },
  ],
  gateways: [{ name: 'carrier', health: { ok: true } }],
  database: { ms: 3.4 },
  queue: { ms: 1 },
  room: { kind: 'disk', free: 40 * GIB, size: 100 * GIB },
  backup: { at: before(300), outcome: 'done', bytes: 3 * 1024 ** 2 },
  feeds: [{ name: 'skerry', heardAt: before(5), silent: false }],
}
const lines = (changes: Partial<Standing> = {}) =>
  linesOf({ ...WELL, ...changes }, (at) => at.toISOString().slice(5, 16))

describe('what an operator reads first', () => {
  it('is plainly good where all is well', () => {
    expect(lines().map(({ state, name, says }) => `${state} ${name}: ${says}`)).toEqual([
      'good Overdue: No message is overdue',
      'good Who sends: 2 workers, heard 4 s ago, 1 s ago',
      'good Gateway carrier: Messages go through, as far as this process knows',
      'good Schedule skerry: Last heard 03-09T12:55 (5 min ago)',
      "good Clocks: At most 0.3 s behind the database's",
      'good Database: Answers in 3 ms',
      'good Queue: Answers in 1 ms',
      'good Disk: 40 GiB of 100 GiB free where the data are',
      'good Last backup: 03-09T08:00 (5 h ago): done, 3 MiB',
      'good Version: 1.2.3, running since 03-09T03:00',
    ])
  })

  it.each<[string, Partial<Standing>, string, RegExp]>([
    ['overdue', { oldestDue: before(30) }, 'Overdue', /since 03-09T12:30 \(30 min\)/],
    ['overdue and stopped', { oldestDue: before(30), stopped: true }, 'Overdue', /Sending is stopped/],
    ['overdue and unapproved', { oldestDue: before(30), sends: false }, 'Overdue', /No texts are approved/],
    ['nobody there', { workers: [] }, 'Who sends', /nothing is sent/],
    [
      'a silent worker',
      { workers: [{ silentSeconds: 25, clockOffsetMs: 0 }] },
      'Who sends',
      /1 worker, heard 25 s ago.*silent/,
    ],
    [
      'a silent schedule',
      { feeds: [{ name: 'skerry', heardAt: before(4320), silent: true }] },
      'Schedule skerry',
      /03-06T13:00 \(3 days ago\).*whether it still sends/,
    ],
    ['no gateway', { gateways: [] }, 'Gateways', /nothing can be sent/],
    [
      'a gateway down',
      { gateways: [{ name: 'carrier', health: { ok: false, since: before(60), code: 'refused' } }] },
      'Gateway carrier',
      /Nothing goes through since 03-09T12:00: refused.*gateway-check carrier/,
    ],
    ['a clock behind', { workers: [{ silentSeconds: 1, clockOffsetMs: -42_000 }] }, 'Clocks', /42\.0 s behind/],
    ['a slow database', { database: { ms: 1500 } }, 'Database', /slow/],
    ['no queue', { queue: null }, 'Queue', /Does not answer/],
    ['a slow queue', { queue: { ms: 1500 } }, 'Queue', /slow/],
    ['little room', { room: { kind: 'disk', free: 9 * GIB, size: 100 * GIB } }, 'Disk', /Make room/],
    [
      'hardly any room',
      { room: { kind: 'disk', free: GIB / 2, size: 2 * GIB } },
      'Disk',
      /512 MiB of 2 GiB.*Make room/,
    ],
    ['a failed backup', { backup: { at: before(5), outcome: 'failed', bytes: null } }, 'Last backup', /It failed/],
    ['an old backup', { backup: { at: before(37 * 60), outcome: 'done', bytes: 1 } }, 'Last backup', /It is old/],
  ])('begins with what to do: %s', (_what, changes, name, words) => {
    const [first, second] = lines(changes)
    expect(first).toMatchObject({ state: 'act', name })
    expect(`${first!.says} ${first!.act}`).toMatch(words)
    expect(second!.state).not.toBe('act')
  })

  it.each<[string, Partial<Standing>, RegExp]>([
    ['Clocks', { workers: [{ silentSeconds: 1, clockOffsetMs: null }] }, /No worker has told/],
    ['Last backup', { backup: null }, /None is recorded/],
    ['Disk', { room: null }, /in memory only/],
    ['Disk', { room: { kind: 'server', bytes: 5 * GIB } }, /The database takes 5 GiB/],
    ['Gateway quiet', { gateways: [{ name: 'quiet', health: undefined }] }, /Does not say/],
  ])('says what it cannot know: %s', (name, changes, words) => {
    expect(lines(changes)[0]).toMatchObject({ state: 'unknown', name, says: expect.stringMatching(words) as string })
  })

  it('leaves to the sweep what is late by less than two minutes', () => {
    expect(lines({ oldestDue: before(1) }).every(({ state }) => state === 'good')).toBe(true)
    expect(lines({ oldestDue: before(2) })[0]!.state).toBe('act')
  })
})
