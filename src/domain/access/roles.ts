/** What can be done with Daysix, in the trade's words. Every address of the service asks for exactly one of these. */
export const PERMISSIONS = {
  'visits:read': 'see visits, patients and openings',
  'visits:write': 'book, amend, move and cancel visits, manage openings',
  'calls:read': 'see the call list and what patients wrote',
  'calls:write': 'close follow-ups, correct readings',
  'day-sheet:read': "see a clinician's list for one day",
  'day-sheet:write': 'record what was found about preparation and specimen',
  'figures:read': 'see figures without names',
  'texts:read': 'see the texts that go out',
  'texts:write': 'approve texts',
  'clinics:read': 'see clinics and their rules',
  'clinics:write': 'add clinics, change their rules',
  'rights:use': 'export or erase what is held on a patient',
  'people:manage': 'add and remove people and keys',
  'audit:read': 'see who saw and changed what',
  'service:read': 'see how the service is doing',
  'metrics:read': 'see what the service measures: for the program that watches it',
  'sending:stop': 'stop all sending, and let it go on',
  'near-misses:read': 'see what went wrong or nearly did, without names',
  'near-misses:write': 'tell what went wrong or nearly did, and what was changed',
} as const

export type Permission = keyof typeof PERMISSIONS

export const ALL_PERMISSIONS = Object.keys(PERMISSIONS) as Permission[]

export const ROLES = ['desk', 'clinician', 'educator', 'administrator'] as const
export type Role = (typeof ROLES)[number]

/**
 * The one place that says what a role may do. `desk` and `clinician` are tied to a clinic, `clinician` also to a list.
 */
export const MAY: Record<Role, readonly Permission[]> = {
  desk: [
    'visits:read',
    'visits:write',
    'calls:read',
    'calls:write',
    'day-sheet:read',
    'day-sheet:write',
    'texts:read',
    'clinics:read',
    'service:read',
    'sending:stop',
    'near-misses:read',
    'near-misses:write',
  ],
  clinician: ['day-sheet:read', 'day-sheet:write', 'near-misses:read', 'near-misses:write'],
  educator: ['figures:read', 'near-misses:read', 'near-misses:write'],
  administrator: ALL_PERMISSIONS,
}

/** Roles that see one clinic only. */
export const TIED_TO_CLINIC: readonly Role[] = ['desk', 'clinician']

/**
 * Whoever makes a request: a person who signed in, a program with a key, or this machine where nothing is locked yet.
 */
export interface Actor {
  kind: 'person' | 'key' | 'local'
  id: string
  name: string
  role: Role
  may: readonly Permission[]
  /** Null = every clinic. */
  clinicId: string | null
  /** The clinician's own list; null = every list of the clinic. */
  clinician: string | null
}

export function isPermission(text: string): text is Permission {
  return Object.hasOwn(PERMISSIONS, text)
}
