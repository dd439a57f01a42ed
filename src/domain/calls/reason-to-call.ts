/** What an open call may have the day sheet ask the patient about; see `thingsToAsk`. */
export type ToAsk = 'dates' | 'bleeding' | 'words' | 'clinician' | 'eligibility' | 'language'

/** What is stated of every reason to call. A reason that leaves anything out does not compile. */
export interface ReasonToCall {
  /** 1 = now, 2 = today, 3 = when convenient. */
  urgency: 1 | 2 | 3
  /**
   * When an open call stands for another one as well: `visit` = for the same visit; `number` =
   * besides, for the same number where no visit is concerned; `never` where each has its own words.
   */
  once: 'visit' | 'number' | 'never'
  /**
   * What ends it without a call: `new-time` = another time of the visit, or that the visit is over
   * or cancelled; `end-of-visit` = only the latter; `person` = nothing.
   */
  settledBy: 'new-time' | 'end-of-visit' | 'person'
  ask: ToAsk | null
  /**
   * Whether many of them at a clinic are one entry of the call list: then somebody has changed something that concerns
   * many. What a patient wrote, and what a clinician must hear, always stands by itself.
   */
  many: 'together' | 'each'
  /** On the desk's pages. */
  title: string
  /** A sentence that a clerk can act on. */
  todo: string
  /**
   * What a clerk may say; see `wordsToSay`. It never names a result, never diagnoses, and never
   * speaks of prescribed medicine but to keep it. `{visit}` and `{dates}` are filled in. Null:
   * nothing is said to the patient.
   */
  say: string | null
}
