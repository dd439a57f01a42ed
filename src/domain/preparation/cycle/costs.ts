import type { Timing } from './timing.ts'

/**
 * What each thing costs that timing can bring about, in units of one visit on a day to avoid. The only weights that
 * decide anything: whether a visit stays, which openings are better, whether a question is worth asking, and whether a
 * person must call. Our own judgement, no source; chosen where the frontier of share left, days of shift and moves
 * bends
 * (`npm run bench -- timing`).
 */
export const COSTS = {
  /** Each day away from the booked date: moving people costs goodwill. */
  shiftDay: 0.008,
  /** Any move at all. */
  move: 0.01,
  /** Each day outside the ideal window. */
  offIdealDay: 0.0003,
  /** Bleeding still, on a day that is none to avoid. */
  bleeding: 0.2,
  /** A day to avoid where only heavy bleeding matters: about a third of days 1-5 are heavy (judgement, no source). */
  softDay: 0.3,
  /** One more text that asks something. */
  question: 0.001,
  /** A call by the desk. */
  call: 0.1,
  /** Not a cost, but what lowers one: the share of questions that stay unanswered, and so mend nothing. */
  unanswered: 0.3,
  /** An opening that is worse than the best by more than this is not put beside it. */
  besideBest: 0.05,
} as const

/** What a day to avoid costs, by how much bleeding matters to the specimen. */
export const costOfDay = ({ avoidDays }: Pick<Timing, 'avoidDays'>): number =>
  avoidDays?.strength === 'soft' ? COSTS.softDay : 1

/** A move as it is reckoned before it is known where to: some three days of shift, and the small risk that remains. */
export const USUAL_MOVE = COSTS.move + 3 * COSTS.shiftDay + 0.01
