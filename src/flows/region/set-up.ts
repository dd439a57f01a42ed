import type { Clinic } from '../../domain/region/clinic.ts'
import { isFictional } from '../../domain/patients/phone.ts'
import type { Deps } from '../ports/deps.ts'
import { isTrial, reachesPeople } from './in-earnest.ts'

/** What must be so before patients are served, in the order in which it is set up. */
export const SET_UP_STEPS = ['clinic', 'gateway', 'texts', 'people', 'times'] as const
export type SetUpStep = (typeof SET_UP_STEPS)[number]

/** How far a site has come, as its data say. */
export interface SetUp {
  clinics: readonly Clinic[]
  /** Clinics whose number is set apart for fiction. */
  fictional: readonly Clinic[]
  trial: boolean
  /** Clinics whose messages reach nobody: their gateway is simulated, or not there. */
  unreached: readonly Clinic[]
  /** Languages of which every text is approved. */
  languages: readonly string[]
  /** Who may sign in. */
  people: number
  /** Some clinic has openings to come. */
  openings: boolean
  /** There is a booking. */
  booked: boolean
}

/** Reads how far the site has come. Figures and clinics only, nobody's name. */
export async function readSetUp(deps: Deps): Promise<SetUp> {
  const { store, access, approvedTexts, clock } = deps
  const clinics = await store.read.clinics.list()
  const [persons, bookings] = await Promise.all([
    access.read.persons.list(),
    store.read.bookings.list({ limit: 1, newestFirst: true }),
  ])
  return {
    clinics,
    fictional: clinics.filter(({ phone }) => isFictional(phone)),
    trial: isTrial(deps),
    unreached: clinics.filter(({ settings }) => !reachesPeople(deps, settings.gateway)),
    languages: [...approvedTexts.reviewables.keys()].filter((code) => approvedTexts.lacking(code).length === 0),
    people: persons.filter(({ disabledAt }) => disabledAt === null).length,
    openings: await hasOpenings(deps, clinics, clock.now()),
    booked: bookings.length > 0,
  }
}

/** Two people, so that a way in is left when one is away. */
const ENOUGH_PEOPLE = 2

/** Which steps are done. */
export function doneSteps(setUp: SetUp): Record<SetUpStep, boolean> {
  const { clinics, fictional, trial, unreached, languages, people, openings, booked } = setUp
  return {
    clinic: clinics.length > 0 && fictional.length === 0,
    gateway: !trial && unreached.length === 0,
    texts: languages.length > 0,
    people: people >= ENOUGH_PEOPLE,
    times: openings && booked,
  }
}

export const isSetUp = (setUp: SetUp): boolean => Object.values(doneSteps(setUp)).every(Boolean)

async function hasOpenings({ store }: Deps, clinics: readonly Clinic[], from: Date): Promise<boolean> {
  for (const { id } of clinics) {
    const [opening] = await store.read.slots.list({ clinicId: id, from, states: ['free'], limit: 1 })
    if (opening) return true
  }
  return false
}
