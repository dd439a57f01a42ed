import type { Deps } from '../../../flows/ports/deps.ts'
import type { TextLibrary } from '../../../domain/messages/texts/library.ts'
import type { Feed } from '../../../domain/schedule/feed.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import type { SendingStop } from '../../../flows/ports/access.ts'
import type { Actor, Permission } from '../../../domain/access/roles.ts'
import type { OpenCalls } from '../calls/open-calls.ts'
import type { ChosenFile } from './form-with-file.ts'
import type { ClinicClock } from './when.ts'
import type { Child } from '../pages/html.ts'

/** What every page of a clinic's desk starts from. */
export interface PageContext extends ClinicClock {
  deps: Deps
  library: TextLibrary
  clinic: Clinic
  now: Date
  /** Address of a page of this clinic, e.g. `at('bookings')`. */
  at(path: string): string
  /** What was just done, in words, to be shown once. */
  said: string | null
  /** Why nothing goes out at this clinic; none where messages do. */
  stops: SendingStop[]
  /** What a person must call for, counted beside the call list's name. */
  calls: OpenCalls
  /** Schedules that are kept elsewhere and have places of this clinic. */
  feeds: readonly Feed[]
  /** One of several clinics. */
  among: boolean
  /** Whoever is at the desk, for the record. */
  who: Actor
  may(permission: Permission): boolean
  params: Record<string, string>
  query: Record<string, string>
  form: Record<string, string | string[]>
  /** The file of a form that has one. */
  chosen?: ChosenFile
}

export interface Frame {
  sheet: PageContext
  /** Heading and document title; never a patient's name, since titles stay in the browser's history. */
  title: string
  /** Address below the clinic's, for the navigation, e.g. `bookings`. */
  here: string
  body: Child
  /** The page shows rules of preparation. */
  rules?: boolean
}

/** A file to take away. */
export interface Download {
  file: string
  type: string
  content: string
  /** Ids of the patients, visits or follow-ups that it shows: for the record, since a file names none. */
  shows: readonly string[]
}

/** What a handler answers: a page, another address to go to, a page that says what is wrong, or a file. */
export type Answer = PageContent | { to: string } | { status: number; page: PageContent } | Download

export type PageContent = Omit<Frame, 'sheet'>
