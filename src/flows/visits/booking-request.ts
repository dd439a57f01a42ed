import type { WeighedOpening } from '../../domain/visits/choose-openings.ts'
import type { ToldReach } from '../../domain/patients/how-reached.ts'
import type { Purpose } from '../../domain/visits/purpose.ts'
import type { CalendarDate, CycleHistory } from '../../domain/preparation/cycle/history.ts'
import type { Booking } from '../../domain/visits/booking.ts'
import type { Consent, Patient } from '../../domain/patients/patient.ts'
import type { VisitJudgement } from '../../domain/preparation/cycle/judge.ts'
import type { Slot } from '../../domain/visits/slot.ts'
import type { PrepPlan } from '../../domain/preparation/plan.ts'
import type { SendJob } from '../ports/jobs.ts'

/** Consent as it is told with a booking. */
export interface ToldConsent {
  recordedBy: string
  recordedAt?: string | undefined
  wording?: string | undefined
  /** The last day on which it holds. */
  until?: CalendarDate | undefined
  /** Who was asked, where whoever tells it knows: refused where somebody else reads the messages. */
  givenBy?: Consent['givenBy']
}

export interface BookingRequest {
  clinic?: string | undefined
  clinician?: string | undefined
  protocol: string
  /** Local time in `zone`, or an instant with offset. */
  visit: string
  /** How long it lasts; default: the clinic's, else the protocol's. */
  minutes?: number | undefined
  /** Booked on purpose though somebody else is there. */
  overbook?: boolean | undefined
  /** Default: the clinic's. */
  zone?: string | undefined
  /** What it leaves out stays as it is known; see `ToldReach`. */
  patient: {
    name: string
    phone: string
    birthDate?: CalendarDate | undefined
    ownNumber?: string | undefined
    language: string
    zone?: string | undefined
  } & ToldReach
  /** Default: routine. */
  purpose?: Purpose | undefined
  dueBy?: CalendarDate | null | undefined
  /** Or how to read it, once today's date where she is is known. */
  cycle: CycleHistory | ((today: string) => CycleHistory)
  consent: ToldConsent | null
  /** What was asked about it and meant all the same: codes, for the trail. */
  note?: Record<string, unknown>
  /** Nothing is sent earlier: a schedule may change it again within minutes. */
  notBefore?: Date | undefined
  /** Who is booking, for the trail. */
  by: string
}

export interface Booked {
  booking: Booking
  patient: Patient
  judgement: VisitJudgement
  openings: WeighedOpening<Slot>[]
  plan: PrepPlan
}

/** `jobs` are to be set once the transaction is committed: see `enqueueJobsSoon`. */
export type NewlyBooked = Booked & { jobs: SendJob[] }
