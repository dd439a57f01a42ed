/** A clinic and the moment it last wrote to a number, or of its next visit of somebody at that number. */
export interface ClinicAt {
  clinicId: string
  at: Date
}

const DAY_MS = 86_400_000
/** A text within so long after ours is taken for an answer to it. Judgement, no source. */
const ANSWERS_WITHIN_MS = 14 * DAY_MS

/**
 * Which clinic a text is written to, where several know its number: the one that wrote last, as long as that was
 * lately; else the one with the next visit; else whoever wrote last at all. Null where no clinic knows the number.
 *
 * @param wrote when each clinic last wrote to the number, latest first
 * @param visits the next visit at each clinic of somebody at the number, soonest first
 */
export function addresseeOf(wrote: readonly ClinicAt[], visits: readonly ClinicAt[], receivedAt: Date): string | null {
  const [latest] = wrote
  const isAnswer = latest !== undefined && receivedAt.getTime() - latest.at.getTime() <= ANSWERS_WITHIN_MS
  return (isAnswer ? latest : (visits[0] ?? latest))?.clinicId ?? null
}
