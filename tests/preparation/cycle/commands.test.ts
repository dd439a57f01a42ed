import { spawnSync } from 'node:child_process'
import { describe, expect, it } from 'vitest'
import { addDays } from '../../../src/domain/preparation/cycle/days.ts'

const DAYSIX = new URL('../../../src/cli/daysix.mjs', import.meta.url).pathname

/** Runs the command as a person or a script would, with one JSON object a line. */
function daysix(
  args: string[],
  lines: unknown[] = [],
): { status: number | null; stdout: string; replies: Record<string, unknown>[] } {
  const input = lines.map((line) => (typeof line === 'string' ? line : JSON.stringify(line))).join('\n')
  const { status, stdout } = spawnSync(process.execPath, [DAYSIX, ...args], { input, encoding: 'utf8' })
  const replies = args.includes('--calendar')
    ? []
    : stdout
        .trim()
        .split('\n')
        .map((line) => JSON.parse(line) as Record<string, unknown>)
  return { status, stdout, replies }
}

describe('daysix forecast', () => {
  const good = {
    id: 'a',
    lmp: '2026-03-02',
    usualCycleDays: 29,
    pastCycleDays: [28, 31],
    age: 34,
    notStartedBy: '2026-03-25',
    from: '2026-03-20',
    to: '2026-04-20',
  }

  it('answers every line in order, keeps going after a bad one and then exits 2', () => {
    const { status, replies } = daysix(
      ['forecast'],
      [
        good,
        { ...good, id: 'b', lmp: '2026-02-30' },
        'not JSON',
        { id: 4, lmp: 'unknown', from: '2026-03-20', to: '2026-03-20' },
        { ...good, id: 'e', to: '2026-03-01' },
        { ...good, id: 'f', lmp: 'no-periods' },
        { ...good, id: 'g', startedOn: '2026-03-08' },
      ],
    )
    expect(status).toBe(2)
    expect(replies.map(({ id }) => id)).toEqual(['a', 'b', null, 4, 'e', 'f', 'g'])
    expect(replies.map(({ error }) => (error as { code: string; field?: string } | undefined)?.field)).toEqual([
      undefined,
      'lmp',
      undefined,
      undefined,
      'to',
      undefined,
      undefined,
    ])
    const days = replies[0]!['days'] as { date: string; cycleDay: number; avoidProbability: number; rating: string }[]
    expect(days).toHaveLength(32)
    expect(days[0]).toMatchObject({ date: '2026-03-20', cycleDay: 19, avoidProbability: 0, rating: 'best' })
    expect(new Set(days.map(({ rating }) => rating))).toEqual(new Set(['best', 'fine', 'unsure', 'avoid']))
    expect(replies[6]!['warnings']).toEqual([{ field: 'startedOn', message: expect.stringContaining('6 days') }])
    expect(replies[6]!['days']).toEqual(days)
    // LMP + 14, cycle day 15: common practice.
    expect(replies[0]!['windows']).toHaveLength(3)
    expect((replies[0]!['windows'] as { ideal: string }[])[0]!.ideal).toBe('2026-03-16')
    expect(replies[5]!['windows']).toEqual([])
  })

  it('exits 0 when every line was good', () => {
    expect(daysix(['forecast'], [good]).status).toBe(0)
  })

  it('draws a calendar for a person, judges the visit and says what it is not for', () => {
    const { status, stdout } = daysix([
      'forecast',
      '--calendar',
      '--lmp',
      '2026-03-02',
      '--usual',
      '29',
      '--past',
      '28,31',
      '--visit',
      '2026-04-01',
    ])
    expect(status).toBe(0)
    for (const words of [
      'March 2026',
      'April 2026',
      '[ 1 ',
      'Not a good time: ',
      'Never use it to avoid or plan a pregnancy',
    ])
      expect(stdout).toContain(words)
    expect(daysix(['forecast', '--calendar', '--lmp', '2 March']).status).toBe(2)
  })
})

describe('what a line may say', () => {
  const line = { id: 'a', lmp: '2026-03-02', from: '2026-03-20', to: '2026-03-22' }
  const visit = { id: 'a', visit: '2026-03-20T10:30', zone: 'America/Halifax', bookedAt: '2026-02-20T15:00' }
  const booked = { id: 'a', lmp: '2026-03-02', now: '2026-03-10T09:00', booked: '2026-04-02T10:30', openings: [] }
  const errorsOf = (command: string, lines: unknown[]) =>
    daysix([command], lines).replies.map(({ error }) => error as { message: string; field: string } | undefined)

  it('refuses a field that nobody knows, and names those that there are', () => {
    for (const [command, good] of [
      ['forecast', line],
      ['suggest', booked],
      ['plan', { ...visit, lmp: '2026-03-02' }],
    ] as const) {
      const [slip, event, right] = errorsOf(command, [
        { ...good, pastCycles: [28] },
        { ...good, breastfeeding: true },
        good,
      ])
      expect(slip).toMatchObject({ code: 'bad-input', field: 'pastCycles' })
      expect(slip!.message).toMatch(/Known: id, .*\bpastCycleDays\b/)
      expect(event!.field).toBe('breastfeeding')
      expect(right).toBeUndefined()
    }
  })

  it('says of what it refuses what may stand there', () => {
    const [unheard, nowhere, usual, past, because] = errorsOf('forecast', [
      { ...line, lmp: 'expecting' },
      { ...line, lmp: '2026-02-30' },
      { ...line, usualCycleDays: 9 },
      { ...line, pastCycleDays: [0] },
      { ...line, because: 'breast-feeding' },
    ])
    for (const choice of ['"unknown"', '"no-periods"', '"pregnant"']) expect(unheard!.message).toContain(choice)
    expect(nowhere!.message).toMatch(/no such date/)
    expect(usual!.message).toContain('15 to 100')
    expect(past!.message).toContain('more than 0')
    expect(because).toMatchObject({ field: 'because', message: expect.stringContaining('no-periods') })
  })

  it('plans no visit before its last period, and none at an hour or on a date that does not exist', () => {
    const [later, sameDay, midnight, nowhere] = errorsOf('plan', [
      { ...visit, lmp: '2026-03-25' },
      { ...visit, lmp: '2026-03-20' },
      { ...visit, visit: '2026-03-20T24:00' },
      { ...visit, visit: '2026-02-30T10:00' },
    ])
    expect(later).toMatchObject({ field: 'lmp', message: expect.stringContaining('after the visit') })
    expect(sameDay).toBeUndefined()
    const odd = daysix(['plan'], [{ ...visit, lmp: '2026-03-02', usualCycleDays: 12 }]).replies[0]!['warnings']
    expect(odd).toEqual([expect.objectContaining({ code: 'check-history', field: 'usualCycleDays' })])
    expect(midnight).toMatchObject({ field: 'visit', message: expect.stringContaining('00:00') })
    expect(nowhere).toMatchObject({ field: 'visit', message: expect.stringContaining('no such date') })
  })

  it('takes every channel that the patient may be written to by, and names them where there is no such channel', () => {
    const [email, letter] = errorsOf('plan', [
      { ...visit, lmp: '2026-03-02', channel: 'email' },
      { ...visit, lmp: '2026-03-02', channel: 'letter' },
    ])
    expect(email).toBeUndefined()
    expect(letter).toMatchObject({ field: 'channel', message: expect.stringContaining('"email"') })
  })

  it('takes pregnancy and why there are no periods, where days play no part', () => {
    const { replies } = daysix(
      ['forecast'],
      [
        { ...line, lmp: 'pregnant' },
        { ...line, lmp: 'no-periods', because: 'breast-feeding' },
      ],
    )
    for (const { days, windows } of replies) {
      expect((days as { avoidProbability: number }[]).map(({ avoidProbability }) => avoidProbability)).toEqual([
        0, 0, 0,
      ])
      expect(windows).toEqual([])
    }
  })
})

/** The protocols' own files say which days are ideal, and by what source. */
describe('the protocol of a line', () => {
  const line = { id: 'a', lmp: '2026-03-02', from: '2026-03-20', to: '2026-03-22' }
  const ratings = (reply: Record<string, unknown>) =>
    (reply['days'] as { rating: string }[]).map(({ rating }) => rating)

  it('says which days are ideal and which to avoid; cytology in liquid where none is named', () => {
    const { replies } = daysix(
      ['forecast'],
      [
        line,
        { ...line, protocol: 'self-collected-hpv', from: '2026-03-03', to: '2026-03-03' },
        { ...line, from: '2026-03-03', to: '2026-03-03' },
        { ...line, protocol: 'tea-leaves' },
      ],
    )
    // 20 March is cycle day 19, the last of the ideal window in templates/protocols; the day after is fine.
    expect(ratings(replies[0]!)).toEqual(['best', 'fine', 'fine'])
    expect(replies[3]!['error']).toMatchObject({
      field: 'protocol',
      message: expect.stringContaining('liquid-based-cytology'),
    })
    expect(ratings(replies[2]!)).toEqual(['avoid'])
  })
})

describe('daysix suggest', () => {
  const base = { id: 'a', lmp: '2026-03-02', usualCycleDays: 29, now: '2026-03-10T09:00', zone: 'America/Halifax' }
  const daily = Array.from({ length: 15 }, (_, i) => `${addDays('2026-03-26', i)}T09:00`)

  it('moves a visit from the days when the next period is due, and keeps one two weeks after the last', () => {
    const { replies } = daysix(
      ['suggest'],
      [
        { ...base, booked: '2026-04-02T10:30', openings: daily },
        { ...base, id: 'b', booked: '2026-03-16T10:30', openings: daily },
        { ...base, id: 'c', booked: '2026-04-02T10:30', openings: [] },
        { ...base, id: 'd', booked: '2026-04-02T10:30', openings: daily, now: '2026-03-01T09:00' },
      ],
    )
    const [moved, kept, stuck, future] = replies
    const ranked = moved!['ranked'] as { at: string; avoidProbability: number; cycleDay: number }[]
    expect(moved!['keep']).toBe(false)
    expect(daily).toContain(ranked[0]!.at)
    expect(ranked[0]!.avoidProbability).toBeLessThan(moved!['avoidProbability'] as number)
    expect(kept).toMatchObject({ keep: true, ranked: [] })
    expect(stuck).toMatchObject({ keep: true, why: 'nothing-better', ranked: [] })
    expect(future!['error']).toMatchObject({ code: 'bad-input', field: 'lmp' })
  })

  it('offers no opening that leaves less than 48 hours to prepare, counted as hours, not as calendar days', () => {
    // In Halifax the clocks go forward on 8 March 2026: from Friday 9:00 to Sunday 9:00 are 47 hours.
    const line = {
      ...base,
      lmp: '2026-02-10',
      now: '2026-03-06T09:00',
      booked: '2026-03-11T10:00',
      openings: ['2026-03-08T13:30', '2026-03-08T14:30'],
    }
    const [reply] = daysix(['suggest'], [line]).replies
    expect((reply!['ranked'] as { at: string }[]).map(({ at }) => at)).toEqual(['2026-03-08T14:30'])
  })

  it('reads instants with an offset in the zone of the clinic', () => {
    const [local, offset] = daysix(
      ['suggest'],
      [
        { ...base, booked: '2026-04-02T22:30', openings: ['2026-04-12T22:30'] },
        { ...base, booked: '2026-04-03T01:30Z', openings: ['2026-04-13T01:30Z'] },
      ],
    ).replies
    expect({ ...offset, ranked: [] }).toEqual({ ...local, ranked: [] })
    expect((offset!['ranked'] as object[])[0]).toEqual({
      ...(local!['ranked'] as object[])[0],
      at: '2026-04-13T01:30Z',
    })
  })
})
