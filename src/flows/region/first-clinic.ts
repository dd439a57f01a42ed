import type { ClinicSettings, Clinic } from '../../domain/region/clinic.ts'
import { USUAL_ASK_AGAIN_MONTHS } from '../../domain/patients/changed-hands.ts'
import { USUAL_MOVE_LIMIT } from '../../domain/visits/move-limit.ts'
import { DEFAULT_HOURS } from '../../domain/preparation/sending-hours.ts'
import type { Deps } from '../ports/deps.ts'

/** A clinic's rules until somebody sets others; messages go to the simulated network. */
export const USUAL_SETTINGS: ClinicSettings = {
  hours: DEFAULT_HOURS,
  movePolicy: 'at-once',
  lapsePolicy: 'desk-decides',
  moveLimit: USUAL_MOVE_LIMIT,
  minors: null,
  askAgainMonths: USUAL_ASK_AGAIN_MONTHS,
  secondOnPaper: false,
  visitMinutes: null,
  calendar: 'none',
  calendarEdition: 1,
  holdHours: 24,
  minConfidence: 0.65,
  gateway: 'pocket',
  emergency: null,
  clock: '24',
  address: null,
  directions: null,
}

/** Makes one clinic where there is none, so that a first booking can be tried at once. @returns whether it did */
export async function ensureFirstClinic({ store }: Pick<Deps, 'store'>): Promise<boolean> {
  if ((await store.read.clinics.list()).length > 0) return false
  await store.transact((tx) => tx.clinics.put(FIRST))
  return true
}

const FIRST: Clinic = {
  id: 'main',
  name: 'Main clinic',
  // Reserved for fiction (NANPA 555-01xx): nobody is reached by mistake.
  phone: '+16135550100',
  zone: 'America/Toronto',
  country: 'CA',
  settings: USUAL_SETTINGS,
}
