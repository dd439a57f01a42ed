import { DateTime } from 'luxon'

/**
 * A number may have changed hands. Own judgement, no source: nothing was heard or delivered there for as long as the
 * clinic says (`askAgainMonths`), the last three messages came back for good, or "wrong person" was said there and
 * somebody at the desk took that back.
 */
export interface HandsDoubt {
  why: 'silent' | 'came-back' | 'lifted'
  /** ISO instant of the signal: only a consent recorded from then on counts. */
  since: string
}

/** What the desk reads. */
export const DOUBTED = 'The number may have changed hands: ask whose it is, then for consent.'

/** So many messages in a row. */
export const CAME_BACK = 3

/** A choice of ours: numbers are given out again after months, how many differs. */
export const USUAL_ASK_AGAIN_MONTHS = 12

/** The longest that a clinic may set: an older sign of life says nothing any more. */
export const LONGEST_ASK_AGAIN_MONTHS = 120

/** What was last seen of a number. */
export interface NumberSigns {
  /** Somebody wrote from there, or a message was delivered. */
  alive: Date | null
  /** The last messages that ended, newest first; no more than `CAME_BACK`. */
  ended: { cameBack: boolean; at: Date }[]
}

interface Known {
  consents: readonly { recordedAt: Date }[]
  signs: NumberSigns
  /** ISO instant at which "wrong person" was taken back by a person. */
  lifted: string | null
  /** ISO instant at which the number was told; null = as long ago as everything else. */
  numberSince: string | null
  now: Date
  months: number
}

/** Whether the number may have changed hands since consent was last recorded; the newest signal counts. */
export function handsDoubt({ consents, signs, lifted, numberSince, now, months }: Known): HandsDoubt | null {
  const agreed = latest(consents.map(({ recordedAt }) => recordedAt))
  if (agreed === null) return null
  const told = numberSince === null ? null : new Date(numberSince)
  const silentAt = monthsAfter(latest([agreed, told, signs.alive])!, months)
  const signals = [
    ...(lifted === null ? [] : [{ why: 'lifted' as const, at: new Date(lifted) }]),
    ...(allCameBack(signs) ? [{ why: 'came-back' as const, at: signs.ended[0]!.at }] : []),
    ...(silentAt < now ? [{ why: 'silent' as const, at: silentAt }] : []),
  ]
  const newest = signals.filter(({ at }) => at > agreed).sort((a, b) => b.at.getTime() - a.at.getTime())[0]
  return newest ? { why: newest.why, since: newest.at.toISOString() } : null
}

/** Whether nobody has agreed since the doubt arose. */
export const isUnsettled = ({ since }: HandsDoubt, consents: Known['consents']): boolean =>
  consents.every(({ recordedAt }) => recordedAt < new Date(since))

const allCameBack = ({ ended }: NumberSigns) => ended.length >= CAME_BACK && ended.every(({ cameBack }) => cameBack)

function latest(dates: readonly (Date | null)[]): Date | null {
  const known = dates.flatMap((date) => date?.getTime() ?? [])
  return known.length === 0 ? null : new Date(Math.max(...known))
}

const monthsAfter = (at: Date, months: number) => DateTime.fromJSDate(at, { zone: 'utc' }).plus({ months }).toJSDate()
