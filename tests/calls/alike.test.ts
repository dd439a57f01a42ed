import { parse } from 'csv-parse/sync'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { entriesOf, MOST_ALIKE, toListTogether } from '../../src/domain/calls/alike.ts'
import { FOLLOW_UP_REASONS } from '../../src/domain/calls/follow-up-reasons.ts'
import type { FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import { commaSeparated } from '../../src/adapters/comma-separated.ts'
import { serveApi } from '../harness/api.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

// Own rule: what is done to many at once is one entry; what one patient said is one too.
describe('many calls for one reason', () => {
  const counts = (...each: [FollowUpReason, number][]) => new Map(each)

  it('are one entry once there are more than a list shows one by one', () => {
    expect(toListTogether(counts(['no-consent', MOST_ALIKE], ['not-told', MOST_ALIKE + 1]))).toEqual(['not-told'])
    const together = toListTogether(counts(['no-consent', MOST_ALIKE], ['not-told', 500], ['short-notice', 500]))
    expect(together).toEqual(['not-told', 'short-notice'])
    // What is only to be known is no call.
    expect(entriesOf(MOST_ALIKE + 3, together)).toBe(MOST_ALIKE + 3 + 1)
  })

  it('stand each by itself where a patient wrote, or a clinician must hear', () => {
    const each = Object.entries(FOLLOW_UP_REASONS).filter(([, { once, ask }]) => once === 'never' && ask !== null)
    expect(each.length).toBeGreaterThan(5)
    for (const [reason, { many }] of each) expect(many, reason).toBe('each')
    expect(FOLLOW_UP_REASONS.alarm.many).toBe('each')
    expect(toListTogether(counts(['alarm', 900]))).toEqual([])
  })
})

describe('a list as a file', () => {
  // Referee: csv-parse, a reader of RFC 4180.
  it('is read back by a reader of such files, whatever is in it', () => {
    const rows = [
      ['name', 'own number'],
      ['Quillon, "Mari"\r\nof the isle', "o'8"],
      ['Ünal Ж', ''],
    ]
    expect(parse(commaSeparated(rows))).toEqual(rows)
  })

  // OWASP, "CSV Injection": fields that begin with = + - @, tab or carriage return.
  it('holds nothing that a spreadsheet works out', () => {
    const formulas = ['=1+1', '+1+1', '-2', '@SUM(A1)', '\t=1', '\r=1', '+1 613 =x']
    for (const [field] of parse(commaSeparated(formulas.map((each) => [each])))) expect(field).toMatch(/^'/)
    expect(parse(commaSeparated([['+16135550142']]))).toEqual([['+16135550142']])
  })
})

describe.each(STORES)('on $name, a clinic whose patients were entered at once, without consent', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  const many = MOST_ALIKE + 3
  const page = async (path: string) => String(await (await fetch(`${api.base}/desk/harbour/${path}`)).text())
  const post = (path: string, fields: [string, string][]) =>
    fetch(`${api.base}/desk/harbour/${path}`, {
      method: 'POST',
      body: new URLSearchParams(fields),
      headers: { Origin: api.base },
      redirect: 'manual',
    })

  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z')
    world = opened.world
    api = await serveApi(world)
    for (let n = 0; n < many; n++)
      await world.book({
        name: n === 0 ? '=Formula Fenwick' : `Patient ${n}`,
        phone: `782 555 01${String(20 + n)}`,
        visit: `2026-03-25T${String(9 + Math.floor(n / 4)).padStart(2, '0')}:${String((n % 4) * 15).padStart(2, '0')}`,
        cycle: { status: 'no-periods' },
        consent: null,
      })
    await world.book({ name: 'Ada Fenwick', phone: '782 555 0101', visit: '2026-03-26T10:00' })
    await world.reply('+17825550101', 'I am bleeding heavily and fainting')
  })
  afterAll(async () => {
    await api.close()
    await opened.close()
  })

  it('has one entry for them, below the alarm', async () => {
    const calls = await page('calls')
    expect(calls).toContain(`No consent: ${many} visits`)
    expect(calls).not.toContain('Patient 5')
    expect(calls.indexOf('Alarming words: Ada Fenwick')).toBeGreaterThan(0)
    expect(calls.indexOf('Alarming words: Ada Fenwick')).toBeLessThan(calls.indexOf(`No consent: ${many} visits`))
    // One card for Ada Fenwick, one entry for the others.
    expect(/class="count">(\d+)</.exec(calls)![1]).toBe('2')
  })

  it('takes the list away as a file, soonest visit first', async () => {
    const rows: string[][] = parse(await page('calls/alike/no-consent/file'))
    expect(rows).toHaveLength(many + 1)
    expect(rows[1]![0]).toBe("'=Formula Fenwick")
    expect(rows[1]!.slice(3, 5)).toEqual(['+17825550120', '2026-03-25T09:00:00-03:00'])
  })

  it('records the consent of many at once, and they will be told', async () => {
    const listed = await page('calls/alike/no-consent')
    const ids = [...listed.matchAll(/name="chosen" value="(f_[^"]+)"/g)].map(([, id]) => id!)
    expect(ids).toHaveLength(many)
    const nameless = await post('calls/alike/no-consent/consent', [['chosen', ids[0]!]])
    expect(nameless.status).toBe(422)
    const words: [string, string] = ['wording', 'Asked on paper at registration, kept in our records.']
    const answer = await post('calls/alike/no-consent/consent', [
      ...ids.slice(1).map((id): [string, string] => ['chosen', id]),
      words,
    ])
    expect(answer.status).toBe(303)
    const booked = await world.deps.store.read.bookings.list({ clinicId: 'harbour', limit: 50 })
    const planned = await world.deps.store.read.messages.ofBookings(booked.map(({ id }) => id))
    const told = new Set(planned.filter(({ kind }) => kind === 'prep').map(({ bookingId }) => bookingId))
    expect(told.size).toBe(booked.length - 1)
    expect(await page('calls')).toContain('No consent: =Formula Fenwick')
  })

  it('settles those chosen with one outcome, and finds no list for a reason that stands by itself', async () => {
    const [open] = await world.deps.store.read.followUps.list({
      clinicId: 'harbour',
      reasons: ['no-consent'],
      open: true,
      limit: 5,
    })
    const answer = await post('calls/alike/no-consent', [
      ['chosen', open!.id],
      ['outcome', 'told'],
    ])
    expect(answer.status).toBe(303)
    expect((await world.deps.store.read.followUps.get(open!.id))!.outcome).toBe('Told how to prepare')
    expect(await page('calls/alike/no-consent')).toContain('Nobody is on this list any more.')
    expect((await fetch(`${api.base}/desk/harbour/calls/alike/alarm`)).status).toBe(404)
  })
})
