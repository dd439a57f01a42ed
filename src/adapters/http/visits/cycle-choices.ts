import {
  NO_PERIODS_BECAUSE,
  type CycleHistory,
  type NoPeriodsBecause,
} from '../../../domain/preparation/cycle/history.ts'

const BECAUSE: Record<NoPeriodsBecause, string> = {
  'after-menopause': 'after menopause',
  'breast-feeding': 'breast-feeding',
  hormonal: 'hormonal method without bleeds',
  'uterus-removed': 'uterus removed',
  'cervix-removed': 'cervix removed',
}

/** What a clerk may choose instead of a first day, as a form sends it and as it reads. */
export const CYCLE_CHOICES: readonly [value: string, words: string][] = [
  ['unknown', 'Not known'],
  ['no-periods', 'No periods'],
  ...NO_PERIODS_BECAUSE.map((because): [string, string] => [
    `no-periods/${because}`,
    `No periods: ${BECAUSE[because]}`,
  ]),
  ['pregnant', 'Pregnant'],
]

/** The history that a choice stands for; null where a first day counts instead. */
export function chosenHistory(value: string): CycleHistory | null {
  if (!CYCLE_CHOICES.some(([choice]) => choice === value)) return null
  const [status, because] = value.split('/') as [CycleHistory['status'], NoPeriodsBecause | undefined]
  return { status, ...(because && { because }) }
}

/** Where cycles play no part, the words for it: "no periods (breast-feeding)". */
export function noCycleWords({ status, because }: CycleHistory): string | null {
  if (status === 'pregnant') return 'pregnant'
  if (status !== 'no-periods') return null
  return because ? `no periods (${BECAUSE[because]})` : 'no periods'
}
