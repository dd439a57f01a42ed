import { dateIn } from '../local-time.ts'

/** How a visit ended. Nothing of a finding or a diagnosis is asked or kept. */
export const OUTCOMES = {
  collected: { label: 'Collected', needsAnother: false, hasBecause: false },
  'not-collected': { label: 'Not collected', needsAnother: true, hasBecause: true },
  absent: { label: 'Did not come', needsAnother: true, hasBecause: false },
} as const satisfies Record<string, { label: string; needsAnother: boolean; hasBecause: boolean }>
export type OutcomeKind = keyof typeof OUTCOMES
export const OUTCOME_KINDS = Object.keys(OUTCOMES) as [OutcomeKind, ...OutcomeKind[]]

/** Why nothing was collected. */
export const NOT_COLLECTED_BECAUSE = {
  bleeding: 'bleeding',
  unprepared: 'not prepared',
  declined: 'the patient declined',
  unsuitable: 'not suitable, or to be seen first',
  left: 'the patient left',
  other: 'another reason',
} as const
export type Because = keyof typeof NOT_COLLECTED_BECAUSE
export const BECAUSE = Object.keys(NOT_COLLECTED_BECAUSE) as [Because, ...Because[]]

export interface Outcome {
  kind: OutcomeKind
  /** With `not-collected` only. */
  because: Because | null
  at: Date
  by: string
}

/** Why this outcome cannot be that of the visit, today; null = it can. */
export function outcomeFault(
  { kind, because }: Pick<Outcome, 'kind' | 'because'>,
  { visitAt, zone, state }: { visitAt: Date; zone: string; state: 'booked' | 'cancelled' },
  now: Date,
): { code: 'too-late' | 'bad-input'; message: string } | null {
  if (state === 'cancelled') return { code: 'too-late', message: 'This visit was cancelled: it has no outcome.' }
  if (dateIn(visitAt, zone) > dateIn(now, zone)) return { code: 'bad-input', message: 'This visit is still to come.' }
  if (OUTCOMES[kind].hasBecause && because === null)
    return { code: 'bad-input', message: 'Say why nothing was collected.' }
  if (!OUTCOMES[kind].hasBecause && because !== null)
    return { code: 'bad-input', message: 'A reason belongs to “Not collected” only.' }
  return null
}

/** e.g. `Not collected: bleeding`. */
export function outcomeWords({ kind, because }: Pick<Outcome, 'kind' | 'because'>): string {
  return because === null ? OUTCOMES[kind].label : `${OUTCOMES[kind].label}: ${NOT_COLLECTED_BECAUSE[because]}`
}
