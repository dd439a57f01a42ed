import { describe, expect, it } from 'vitest'
import { FOLLOW_UP_REASONS } from '../../src/domain/calls/follow-up-reasons.ts'
import type { FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import { onTheLine } from '../../src/domain/calls/on-the-line.ts'
import { asReached, whatToDo } from '../../src/domain/calls/words-to-say.ts'

// What the desk reads beside a patient who does not hear a call, or for whom somebody else answers. Own rule.
const DEAF = { reach: 'texts-only' } as const
const REASONS = Object.keys(FOLLOW_UP_REASONS) as FollowUpReason[]

describe('a patient who does not hear a call', () => {
  it.each(REASONS)('is never to be called: %s', (reason) => {
    const { todo, say } = FOLLOW_UP_REASONS[reason]
    const words = `${whatToDo(reason, DEAF)} ${asReached(say ?? '', DEAF)}`
    expect(words).not.toMatch(/\b(call|calls|called|calling|telephone|speak)\b/i)
    expect(whatToDo(reason, { reach: 'calls-only' })).toBe(todo)
    expect(whatToDo(reason, null)).toBe(todo)
  })

  it.each<[FollowUpReason, string]>([
    ['no-consent', 'There is no consent to messages that holds. Tell in writing how to prepare.'],
    ['cannot-come', 'The patient cannot come and no opening fits. Write and agree on another time.'],
    ['prep-question', 'The patient asked about preparation. Answer in writing.'],
  ])('%s', (reason, words) => expect(whatToDo(reason, DEAF)).toBe(words))
})

describe('whom a caller has on the line', () => {
  const receiver = { relation: 'guardian', name: 'Bo Fenwick', fullDetail: false, since: '' } as const
  it.each([
    [{}, null],
    [{ receiver: null, reach: 'both' }, null],
    [{ receiver }, 'On the line: Bo Fenwick (guardian), not the patient. Name neither test nor reason.'],
    [{ receiver: { ...receiver, fullDetail: true } }, 'On the line: Bo Fenwick (guardian), not the patient.'],
    [{ reach: 'calls-only' }, 'A landline: it takes calls only.'],
    [{ reach: 'texts-only' }, 'The patient does not hear a call: write, or reach the patient another way.'],
  ] as const)('%j', (patient, words) => expect(onTheLine(patient)).toBe(words))
})
