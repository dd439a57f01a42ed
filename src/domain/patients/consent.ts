import { DateTime } from 'luxon'
import type { Channel } from '../messages/texts/kinds.ts'
import type { CalendarDate } from '../preparation/cycle/history.ts'
import { DOUBTED } from './changed-hands.ts'
import type { Consent, Patient } from './patient.ts'

/** What decides whether a consent counts. */
export type CountedConsent = Pick<Consent, 'channel' | 'recordedAt' | 'until' | 'givenBy'>

type Reader = Pick<Patient, 'receiver' | 'handsDoubt'>

/** Given by whoever reads the messages now. */
function isTheReaders({ receiver }: Reader, { givenBy, recordedAt }: CountedConsent): boolean {
  if (!receiver) return (givenBy ?? 'patient') === 'patient'
  return givenBy === 'receiver' && recordedAt >= new Date(receiver.since)
}

/** Recorded since the number may have changed hands. */
const isFresh = ({ handsDoubt }: Reader, { recordedAt }: CountedConsent) =>
  !handsDoubt || recordedAt >= new Date(handsDoubt.since)

const counting = (patient: Reader, consents: readonly CountedConsent[], channel: Channel) =>
  consents.filter((each) => each.channel === channel && isTheReaders(patient, each) && isFresh(patient, each))

/**
 * The last day on which the patient may be written to by this channel, by the newest word on it: whoever agrees "only
 * until 12 March" takes back what was agreed to without an end. Of two recorded at once the later end holds.
 * @returns null where consent has no end, undefined where none counts at all
 */
export function consentEnd(
  patient: Reader,
  consents: readonly CountedConsent[],
  channel: Channel,
): CalendarDate | null | undefined {
  const counted = counting(patient, consents, channel)
  const newest = Math.max(...counted.map(({ recordedAt }) => recordedAt.getTime()))
  const ends = counted.filter(({ recordedAt }) => recordedAt.getTime() === newest).map(({ until }) => until ?? null)
  return ends.includes(null) ? null : ends.sort().at(-1)
}

/**
 * Why there is no consent to this channel today; null = there is. The words are empty where it was never given.
 * @param today where the patient lives
 */
export function whyNoConsent(
  patient: Reader,
  consents: readonly CountedConsent[],
  channel: Channel,
  today: CalendarDate,
): { why?: string } | null {
  const end = consentEnd(patient, consents, channel)
  if (end === null || (end !== undefined && end >= today)) return null
  if (end !== undefined) return { why: `The consent ended on ${dayWords(end)}: ask for it again.` }
  const given = consents.filter((each) => each.channel === channel)
  if (given.some((each) => isTheReaders(patient, each) && !isFresh(patient, each))) return { why: DOUBTED }
  return given.length === 0 ? {} : { why: patient.receiver ? ASK_RECEIVER : ASK_PATIENT }
}

const ASK_RECEIVER = 'Somebody else receives the messages, and has not agreed to them: ask that person for consent.'
const ASK_PATIENT = 'The patient reads the messages now, and somebody else had agreed to them: ask the patient.'

/** Where messages of a plan fall after the last day. */
export const endsBefore = (end: CalendarDate): string =>
  `The consent ends on ${dayWords(end)}, and what was to be sent after that is not: tell it, or ask for consent again.`

const dayWords = (date: CalendarDate) => DateTime.fromISO(date, { locale: 'en' }).toFormat('d LLLL yyyy')
