import { NOT_RECORDED, type ManyConsents } from '../../../flows/patients/record-consent-of-many.ts'

const WHY = {
  doubted:
    'the number may have changed hands. Ask whose it is, and record consent on the page of the visit where it is right',
  'opted-out': 'the number refuses messages, and only whoever has it can take that back, by writing START',
  over: 'the visit is over or cancelled, so that nothing is left to be sent',
} as const

/** How many of each; an address carries these figures, and no words. */
type Counts = Record<'recorded' | 'gone' | keyof typeof WHY, number>

export function countsOf({ recorded, refused }: ManyConsents, gone: number): Counts {
  const of = (why: keyof typeof WHY) => refused.filter((each) => each.why === why).length
  const refusals = { doubted: of('doubted'), 'opted-out': of('opted-out'), over: of('over') }
  return { recorded: recorded.length, gone, ...refusals }
}

export const inAddress = (counts: Counts): string =>
  Object.entries(counts)
    .map(([name, count]) => `${name}=${count}`)
    .join('&')

/** Read back from an address; null where it says nothing of that. */
export function countsIn(query: Record<string, unknown>): Counts | null {
  if (query.recorded === undefined) return null
  const count = (name: keyof Counts) => {
    const said = query[name]
    return typeof said === 'string' && /^\d{1,4}$/.test(said) ? Number(said) : 0
  }
  const refusals = { doubted: count('doubted'), 'opted-out': count('opted-out'), over: count('over') }
  return { recorded: count('recorded'), gone: count('gone'), ...refusals }
}

/** What became of those chosen, a sentence each. */
export function outcomeWords(counts: Counts): string[] {
  const { recorded, gone } = counts
  return [
    ...(recorded > 0 ? [`Consent is recorded for ${patients(recorded)}, and their messages are planned.`] : []),
    ...NOT_RECORDED.filter((why) => counts[why] > 0).map(
      (why) => `Not recorded for ${patients(counts[why])}: ${WHY[why]}.`,
    ),
    ...(gone > 0 ? [`${gone} of those chosen somebody else had seen to meanwhile.`] : []),
  ]
}

const patients = (count: number) => (count === 1 ? '1 patient' : `${count} patients`)
