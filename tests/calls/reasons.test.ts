import { describe, expect, it } from 'vitest'
import { reasonsSettledBy, type FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../src/domain/calls/follow-up-reasons.ts'
import type { ReasonToCall } from '../../src/domain/calls/reason-to-call.ts'
import { wordsToSay } from '../../src/domain/calls/words-to-say.ts'

// Which calls end by themselves, and how the desk is spoken to: rules of the product, no source.
const REASONS = Object.entries(FOLLOW_UP_REASONS) as [FollowUpReason, ReasonToCall][]

describe('the reasons to call', () => {
  it('state everything: one that leaves something out does not compile', () => {
    const stated = { once: 'never', ask: null, title: 'T', todo: 'Call.', say: null } as const
    // @ts-expect-error nothing is said of how urgent it is, and of what ends it
    const reason: ReasonToCall = stated
    expect(reason.urgency).toBeUndefined()
  })

  it('are told apart by their titles', () => {
    expect(new Set(REASONS.map(([, { title }]) => title)).size).toBe(REASONS.length)
  })

  it('speak of the patient, who need not be a she', () => {
    const words = REASONS.flatMap(([, { title, todo, say }]) => [title, todo, say ?? ''])
    expect(words.filter((each) => /\b(she|her|hers)\b/i.test(each))).toEqual([])
  })

  it('alarms, deaths and what the patient wrote are never settled by what becomes of a visit', () => {
    const byVisits = reasonsSettledBy('end-of-visit')
    const forPeople: FollowUpReason[] = [
      'alarm',
      'unexpected-bleeding',
      'clinician',
      'died',
      'wrong-person',
      'unclear-reply',
      'unknown-sender',
      'prep-question',
      'check-opt-out',
      'lapse',
      'late-period',
      'eligibility',
    ]
    expect(byVisits.filter((reason) => forPeople.includes(reason))).toEqual([])
    expect(byVisits).toEqual(expect.arrayContaining(['no-consent', 'opted-out', 'not-delivered']))
  })

  it('whatever a new time settles, the end of the visit settles too, and not the reverse', () => {
    const byEnd = reasonsSettledBy('end-of-visit')
    const byTime = reasonsSettledBy('new-time')
    expect(byTime.every((reason) => byEnd.includes(reason))).toBe(true)
    expect(byTime).not.toContain('no-consent')
  })

  it('words to say leave no gap where a call is about no visit', () => {
    const values = { visit: '', dates: 'another day' }
    const said = REASONS.map(([reason]) => wordsToSay(reason, values) ?? '')
    expect(said.filter((words) => /\s[,.?!]|\{| {2}/.test(words))).toEqual([])
  })
})
