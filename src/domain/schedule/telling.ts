import type { AppointmentKey, PatientId } from './schedule-news.ts'

/** What is told to whoever keeps a schedule: a patient chose another time for an appointment of theirs. */
export interface Asking {
  /** Ours, the same each time that it is told. */
  id: string
  feed: string
  key: AppointmentKey
  from: Date
  to: Date
  minutes: number
  madeAt: Date
  /** As they told them: their own codes. */
  places: readonly string[]
  clinicians: readonly string[]
  types: readonly string[]
  patientIds: readonly PatientId[]
  patientName: string
}

/** Where a feed is told of moves. */
export type TellBy =
  | {
      by: 'mllp'
      host: string
      port: number
      tls: boolean
      /** Files of TLS: whom to trust besides the usual, and who this is. */
      ca: string | null
      cert: string | null
      key: string | null
      application: string
      facility: string
    }
  | { by: 'webhook'; address: string; keyId: string; secret: string }

const MINUTE_MS = 60_000
const WAITS = [1, 2, 5, 15, 30, 60]

/** When it is tried again after so many failures: soon at first, then every hour. Own judgement, no source. */
export function triedAgainAt(failures: number, now: Date): Date {
  const minutes = WAITS[Math.min(failures, WAITS.length) - 1] ?? WAITS[0]!
  return new Date(now.getTime() + minutes * MINUTE_MS)
}
