import type { WeighedOpening } from '../../../domain/visits/choose-openings.ts'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import type { FullProtocol } from '../../../domain/preparation/protocol.ts'
import type { Preview } from '../../../flows/visits/preview-visit.ts'
import type { Slot } from '../../../domain/visits/slot.ts'
import type { PageContext } from '../desk/page-context.ts'
import type { BookingDoubt } from '../../../domain/visits/booking-doubts.ts'
import type { KnownPatient } from '../../../flows/visits/known-at.ts'
import type { BookFields, Faults } from './book-fields.ts'

/** What can be said as soon as the last period is in; more when the visit is. */
export interface Look {
  cycle: CycleHistory
  protocol: FullProtocol
  /** Null while no date and time are given: then `openings` are good ones to begin with. */
  preview: Preview | null
  openings: WeighedOpening<Slot>[]
  /** The time the strip is drawn around. */
  around: Date
  zone: string
}

/** What the clerk is asked before the visit is booked, and whom the clinic knows at the number. */
export interface Asked {
  known: KnownPatient[]
  doubts: BookingDoubt[]
}

export interface BookForm {
  sheet: PageContext
  fields: BookFields
  faults: Faults
  look: Look | null
  asked: Asked
  /** Where the keyboard should be. */
  focus: keyof BookFields | 'despite'
}
