/** What is stated of every purpose of a visit. */
interface Stated {
  /** On the desk's pages. */
  label: string
  /** Whether the visit may be put off for the sake of timing or preparation. */
  mayBePutOff: boolean
}

/**
 * Why the patient comes. Only a routine specimen is worth waiting for a better day. Screening programmes say of the
 * others not to defer: Scottish programme guidance 10.1.1 (an abnormal result before a pregnancy "should not be
 * delayed") and 10.4.8 (take it all the same from whoever may not return); New Zealand NSU, Screening Matters 57 (2016:
 * in pregnancy when overdue or follow-up is due); Cancer Council Australia (symptoms want assessment, not screening).
 */
export const PURPOSES = {
  routine: { label: 'Routine', mayBePutOff: true },
  'repeat-specimen': { label: 'Repeat of an unsatisfactory specimen', mayBePutOff: false },
  'earlier-result': { label: 'Follow-up of an earlier result', mayBePutOff: false },
  'after-treatment': { label: 'After treatment', mayBePutOff: false },
  symptoms: { label: 'Symptoms', mayBePutOff: false },
  pregnancy: { label: 'In pregnancy', mayBePutOff: false },
} as const satisfies Record<string, Stated>

export type Purpose = keyof typeof PURPOSES
export const PURPOSE_NAMES = Object.keys(PURPOSES) as [Purpose, ...Purpose[]]
