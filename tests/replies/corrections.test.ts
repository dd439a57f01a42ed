import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { settleMove } from '../../src/flows/visits/move-visit.ts'
import { Conversations } from './conversations.ts'

// The product's own promise, no source: a correction takes back what that reading did, and nothing
// that was learned since.
let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
})
beforeEach(() => at.begin())
afterAll(() => at.world.close())

const CANNOT_COME = "I can't come that day"
const DIED = 'She passed away in January.'
const cycling = () => ({ cycle: at.cycling(27) })

describe('a death that was none', () => {
  it.each(['thanks', 'unclear'] as const)(
    'read as %s: the patient is told again, though the number has changed',
    async (meaning) => {
      const visit = await at.book(`${at.day(10)}T10:00`)
      const reply = await at.write(DIED)
      await at.amend(visit, { patient: { phone: at.anotherPhone() } })
      await at.correct(reply, meaning)
      expect((await at.patient(visit)).reportedDead).toBeFalsy()
      expect(await at.reasons(visit)).not.toContain('died')
      expect(await at.kinds(visit, 'planned')).toContain('prep')
    },
  )

  it('stays reported where another text said it too, whichever is corrected first', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    const replies = [await at.write(DIED), await at.write('She died.')]
    await at.correct(replies[0]!, 'thanks')
    expect((await at.patient(visit)).reportedDead).toBe(true)
    expect(await at.reasons(visit)).toContain('died')
    await at.correct(replies[1]!, 'thanks')
    expect((await at.patient(visit)).reportedDead).toBeFalsy()
    expect(await at.reasons(visit)).not.toContain('died')
  })

  it('what was asked for before it is not lost; nobody calls about it meanwhile', async () => {
    await at.openings()
    const visit = await at.book(`${at.day(10)}T10:00`)
    await at.write(CANNOT_COME)
    const reply = await at.write(DIED)
    expect(await at.reasons(visit)).toEqual(['died'])
    await at.correct(reply, 'thanks')
    expect(await at.reasons(visit)).toEqual(['cannot-come'])
  })

  it('a STOP beside it goes with it', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    const reply = await at.write('She died. Stop texting me')
    expect(await at.reasons(visit)).toEqual(['died'])
    await at.correct(reply, 'thanks')
    expect(await at.deps.store.read.optOuts.has(at.phone)).toBe(false)
    expect(await at.reasons(visit)).toEqual([])
    expect(await at.kinds(visit, 'planned')).toContain('prep')
  })
})

describe('an older reply corrected, when something newer has come of the conversation', () => {
  it('a newer offer stands', async () => {
    await at.openings()
    const visit = await at.book(`${at.day(10)}T10:00`)
    const first = await at.write('hmm maybe?')
    await at.write(CANNOT_COME)
    await at.correct(first, 'confirm')
    expect(await at.offer(visit)).toMatchObject({ state: 'open', reason: 'cannot-come' })
  })

  it('newer dates stand', async () => {
    const visit = await at.book(`${at.day(16)}T10:00`, cycling())
    const first = await at.write('my period has not started')
    await at.pass(24)
    await at.write('my period started today')
    await at.correct(first, 'unclear')
    expect((await at.patient(visit)).cycle.lmp).toBe(at.day(1))
  })

  it('dates that the desk wrote down since stand', async () => {
    const visit = await at.book(`${at.day(16)}T10:00`, cycling())
    const reply = await at.write('my period started today')
    await at.amend(visit, { cycle: { status: 'cycling', lmp: at.day(-2) } })
    await at.correct(reply, 'unclear')
    expect((await at.patient(visit)).cycle.lmp).toBe(at.day(-2))
  })

  it('a choice that waits for the desk stands, and can be approved', async () => {
    at.clinic = await at.anotherClinic({ movePolicy: 'desk-approves' })
    await at.openings()
    const visit = await at.book(`${at.day(10)}T10:00`)
    const first = await at.write(CANNOT_COME)
    await at.write('1')
    await at.correct(first, 'thanks')
    const { id, choices } = (await at.offer(visit))!
    await settleMove(at.deps, id, true, 'desk')
    expect((await at.now(visit)).visitAt).toEqual(choices[0]!.at)
  })

  it('a newer confirmation stands, and so does a lapse told again in the same words', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    const confirmed = await at.write('yes I will come')
    await at.write('yes I will be there')
    await at.correct(confirmed, 'unclear')
    expect((await at.now(visit)).confirmedAt).not.toBeNull()
    const lapse = await at.write('I used a cream yesterday')
    await at.write('I used a cream yesterday')
    await at.correct(lapse, 'thanks')
    expect((await at.now(visit)).lapses).toEqual(['I used a cream yesterday'])
    expect((await at.reasons(visit)).filter((reason) => reason === 'lapse')).toHaveLength(1)
  })
})

describe('a correction takes back', () => {
  it('a choice that waits for the desk: another of the times can be taken', async () => {
    at.clinic = await at.anotherClinic({ movePolicy: 'desk-approves' })
    await at.openings()
    const visit = await at.book(`${at.day(10)}T10:00`)
    await at.write(CANNOT_COME)
    const choice = await at.write('1')
    await at.correct(choice, 'choice', { choice: 2 })
    const offer = (await at.offer(visit))!
    expect(offer).toMatchObject({ state: 'waiting', chosen: 2 })
    const approvals = (await at.calls(visit)).filter(({ reason }) => reason === 'approve-move')
    expect(approvals.map(({ detail }) => detail.to)).toEqual([offer.choices[1]!.at.toISOString()])
  })

  it('an offer that replaced an older one: what that was about becomes a call', async () => {
    await at.openings()
    const visit = await at.book(`${at.day(10)}T10:00`)
    await at.write(CANNOT_COME)
    const again = await at.write('I cannot make it on that day')
    await at.correct(again, 'thanks')
    expect(await at.offer(visit)).toBeUndefined()
    expect(await at.reasons(visit)).toEqual(['cannot-come'])
  })

  it('the call about a visit for which no opening fitted', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    const reply = await at.write(CANNOT_COME)
    expect(await at.words(visit)).toEqual([['cannot-come', CANNOT_COME]])
    await at.correct(reply, 'thanks')
    expect(await at.reasons(visit)).toEqual([])
  })

  it('a confirmation that stood beside something else', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    const reply = await at.write('yes I will come but I used a cream')
    expect((await at.now(visit)).confirmedAt).not.toBeNull()
    await at.correct(reply, 'unclear')
    expect(await at.now(visit)).toMatchObject({ confirmedAt: null, lapses: [] })
  })

  it('a START that was none: the STOP before it holds again', async () => {
    await at.book(`${at.day(10)}T10:00`)
    await at.write('STOP')
    const start = await at.write('START')
    expect(await at.deps.store.read.optOuts.has(at.phone)).toBe(false)
    await at.correct(start, 'unclear')
    expect(await at.deps.store.read.optOuts.has(at.phone)).toBe(true)
  })

  it('a wrong number after a STOP: the STOP holds, as what it was', async () => {
    await at.book(`${at.day(10)}T10:00`)
    await at.write('STOP')
    const wrong = await at.write('wrong number')
    expect((await at.deps.store.read.optOuts.get(at.phone))?.reason).toBe('wrong-person')
    await at.correct(wrong, 'thanks')
    expect((await at.deps.store.read.optOuts.get(at.phone))?.reason).toBe('stop')
  })

  it('the call about another visit that the dates had spoilt', async () => {
    const cycle = { ...at.cycling(21), usualCycleDays: 32 }
    await at.openings()
    await at.book(`${at.day(3)}T10:00`, { cycle })
    const other = await at.book(`${at.day(3)}T15:00`, { cycle })
    await at.write('my period started today')
    const number = await at.write('1')
    expect(await at.reasons(other)).toContain('badly-timed')
    await at.correct(number, 'thanks')
    expect(await at.reasons(other)).not.toContain('badly-timed')
  })
})

describe('what a reply says of "today"', () => {
  it('is the day on which it was written, however late a person reads it', async () => {
    const visit = await at.book(`${at.day(16)}T10:00`, { cycle: at.cycling(25) })
    const reply = await at.write('nothing red so far')
    await at.pass(48)
    await at.correct(reply, 'not-started')
    expect((await at.patient(visit)).cycle.notStartedBy).toBe(at.day(0))
  })
})

describe('a reply that is not yet acted on', () => {
  it('cannot be corrected', async () => {
    const facts = { clinicId: null, patientId: null, bookingId: null, reading: null, done: null }
    const kept = {
      id: 't_kept',
      gateway: 'pocket',
      key: 'kept',
      phone: at.phone,
      text: 'hm',
      receivedAt: at.world.clock.now(),
      ...facts,
    }
    await at.deps.store.transact((tx) => tx.replies.keep(kept))
    await expect(at.correct(kept, 'thanks')).rejects.toThrow(/too-late/)
  })
})
