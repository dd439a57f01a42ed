import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { CALL_ENDINGS, endingsOf, leadsTo, outcomeOf, TO_KNOW } from '../../src/domain/calls/call-endings.ts'
import { FOLLOW_UP_REASONS } from '../../src/domain/calls/follow-up-reasons.ts'
import type { FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import { DESK, NOW, pageText, postForm } from '../desk/reception.ts'
import { serveApi } from '../harness/api.ts'
import { TestWorld } from '../harness/world.ts'

// How a call list is put together, and how calls end: own rules, no source. Invented people.
describe('how a call ends', () => {
  const reasons = Object.keys(FOLLOW_UP_REASONS) as FollowUpReason[]

  it('is stated for each reason, but for the one that has a form of its own', () => {
    expect(reasons.filter((reason) => endingsOf(reason).length === 0)).toEqual(['approve-move', 'enter-move'])
    for (const reason of reasons) expect(endingsOf(reason).length, reason).toBeLessThanOrEqual(3)
  })

  it('is recorded in the words that were pressed, and only where they belong', () => {
    expect(outcomeOf('no-consent', 'told')).toBe('Told how to prepare')
    expect(outcomeOf('alarm', 'told')).toBeUndefined()
    expect(outcomeOf('alarm', 'not-needed')).toBe('No call needed')
    expect(outcomeOf('badly-timed', 'move')).toBeUndefined()
    expect(leadsTo('move')).toBe('move')
  })

  it('never closes a call with another time that nobody has entered yet', () => {
    const byNewTime = reasons.filter((reason) => endingsOf(reason).includes('move'))
    for (const reason of byNewTime)
      expect(FOLLOW_UP_REASONS[reason].settledBy !== 'person' || endingsOf(reason).includes('rebooked'), reason)
  })

  it('says nothing to the patient where nobody is called', () => {
    for (const reason of TO_KNOW) expect(FOLLOW_UP_REASONS[reason].say, reason).toBeNull()
    expect(new Set(Object.values(CALL_ENDINGS).map(({ words }) => words)).size).toBe(Object.keys(CALL_ENDINGS).length)
  })
})

describe('the call list', () => {
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  const html = async (path: string) => (await fetch(`${api.base}${DESK}/${path}`)).text()
  const cardFor = async (name: string) => (await html('calls')).split('<article').find((each) => each.includes(name))!
  const openOf = (bookingId: string) => world.deps.store.read.followUps.list({ bookingId, open: true, limit: 10 })

  beforeAll(async () => {
    world = await TestWorld.create(NOW)
    api = await serveApi(world)
    for (const [visit, phone, name] of [
      ['2026-03-25T09:00', '782 555 0120', 'Joan Thrice'],
      ['2026-03-25T09:40', '782 555 0120', 'Joan Thrice'],
      ['2026-03-26T09:00', '782 555 0120', 'Joan Thrice'],
      ['2026-03-25T10:20', '782 555 0121', 'Odile Later'],
    ] as const)
      await world.book({ visit, phone, name, consent: null, cycle: { status: 'no-periods' } })
  })
  afterAll(async () => {
    await api.close()
    await world.close()
  })

  it('has one card a patient, with all that the patient is called about, and counts patients', async () => {
    const page = await html('calls')
    expect(page.match(/<article class="call/g)).toHaveLength(2)
    expect((await cardFor('Joan Thrice')).match(/<section class="reason"/g)).toHaveLength(3)
    expect(page).toMatch(/class="count">2</)
  })

  it('puts a card where its most harmful reason belongs, and that reason first', async () => {
    await world.reply('+17825550121', 'I am bleeding heavily and fainting')
    const page = await html('calls')
    expect(page.indexOf('Odile Later')).toBeLessThan(page.indexOf('Joan Thrice'))
    const card = await cardFor('Odile Later')
    expect(card).toMatch(/^ class="call u1"/)
    expect(card.indexOf('Alarming words')).toBeLessThan(card.indexOf('No consent'))
  })

  it('has other buttons for other reasons', async () => {
    const card = await cardFor('Odile Later')
    const alarm = card.slice(card.indexOf('Alarming words'), card.indexOf('No consent'))
    expect(alarm).toContain('A clinician has taken over')
    expect(alarm).not.toMatch(/Told how to prepare|Agreed on another time/)
    const consent = card.slice(card.indexOf('aria-label="No consent'))
    expect(consent).toMatch(/value="told">Told how to prepare/)
    expect(consent).toMatch(/href="[^"]*\/visits\/b_\w+#reach">Consent given/)
  })

  it('counts one call without an answer for all that it was about, and keeps the card', async () => {
    const booked = await world.deps.store.read.bookings.list({ clinicId: 'harbour', limit: 10 })
    const [first] = await openOf(booked[0]!.id)
    const answer = await postForm(api.base, `${DESK}/calls/${first!.id}/close`, { outcome: 'no-answer' })
    expect(answer.headers.get('location')).toBe(`${DESK}/calls?said=tried`)
    expect((await cardFor('Joan Thrice')).match(/Called once without an answer/g)).toHaveLength(1)
    const tries = (await Promise.all(booked.map(({ id }) => openOf(id)))).flat().map(({ detail }) => detail.tries)
    expect(tries.filter((each) => each !== undefined)).toHaveLength(3)
  })

  it('records by one press and offers to take it back at once', async () => {
    const [call] = (await openOf((await world.deps.store.read.bookings.list({ limit: 10 }))[0]!.id))!
    const answer = await postForm(api.base, `${DESK}/calls/${call!.id}/close`, { outcome: 'told' })
    const after = await (await fetch(api.base + answer.headers.get('location')!)).text()
    expect(after).toMatch(/The outcome is recorded\./)
    expect(after).toMatch(
      new RegExp(`class="undo"[^>]*calls/${call!.id}/reopen"><span>No consent: Told how to prepare`),
    )
    expect(after).not.toContain('Closed today')
    await postForm(api.base, `${DESK}/calls/${call!.id}/reopen`, {})
    expect((await world.deps.store.read.followUps.get(call!.id))!.closedAt).toBeNull()
  })

  it('keeps what is no call apart, and out of the count', async () => {
    const before = /class="count">(\d+)</.exec(await html('calls'))![1]
    const { booking } = await world.book({ visit: '2026-03-10T13:00', phone: '782 555 0122', name: 'Tova Tomorrow' })
    const [known] = (await openOf(booking.id)).filter(({ reason }) => reason === 'short-notice')
    const words = await pageText(api.base, `${DESK}/calls`)
    expect(words).toMatch(/To know No call is needed for these\. Short notice: Tova Tomorrow/)
    expect(/class="count">(\d+)</.exec(await html('calls'))![1]).toBe(before)
    await postForm(api.base, `${DESK}/calls/${known!.id}/close`, { outcome: 'seen' })
    expect(await pageText(api.base, `${DESK}/calls`)).not.toMatch(/To know/)
  })
})
