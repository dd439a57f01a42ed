export interface Booking {
  id: string
  patientId: string
  clinicId: string
  /** Whoever collects; distinguishes parallel lists within one clinic. Empty where a clinic has only one. */
  clinician: string
  protocol: string
  visitAt: Date
  /** The time it was first booked for, and how often the patient has moved it since. */
  firstVisitAt: Date
  moves: number
  zone: string
  state: 'booked' | 'cancelled'
  /** Counts the plans made: a message of an older plan finds nothing to do. */
  planRevision: number
  /** Digest of the protocol the plan was made by. */
  planBasis: string
  confirmedAt: Date | null
  /** Preparation cannot be complete: booked or moved too late, or told too late. */
  shortNotice: boolean
  /** What went wrong with preparation, in the patient's words. */
  lapses: string[]
  createdAt: Date
}
