import { clinicianOf, clinicOf, entry } from './entry.ts'
import type { Feed } from './feed.ts'
import type { LookUps, TheirPatient, TheirState, TheirVisit } from './known.ts'
import type { OurPatient, OurVisit } from './our-visit.ts'
import { compareStamps, valuesOf, type Registered } from './register.ts'

/** How a visit of theirs stands here. */
export type OurView =
  | { is: TheirState; visit: OurVisit }
  /** It is called off or over, and was never told in full. */
  | { is: Exclude<TheirState, 'booked'>; visit: null }
  /** Of no kind that concerns us. */
  | { is: 'foreign'; visit: null }
  /** A person must complete it. `unmapped`: a code that the feed's description lacks. */
  | { is: 'incomplete'; visit: null; why: string; unmapped: boolean }

const incomplete = (why: string, unmapped = false): OurView => ({ is: 'incomplete', visit: null, why, unmapped })

/** What a visit of theirs is to us; null = nothing was told of it. */
export function ourView(known: LookUps, key: string, feed: Feed): OurView | null {
  const row = known.visits.get(key)
  if (!row?.state) return null
  const told = valuesOf<TheirVisit>(row)
  const state = endedBySeries(known, key, row) ? 'cancelled' : told.state!
  const types = told.types ?? []
  const type = types.map((each) => entry(feed.types, each)).find((each) => each !== undefined)
  if (types.length > 0 && !type) return { is: 'foreign', visit: null }
  const visit = visitOf(known, told, type, feed)
  if ('startsAt' in visit) return { is: state, visit }
  if (state !== 'booked') return { is: state, visit: null }
  return visit
}

function visitOf(
  known: LookUps,
  told: Partial<TheirVisit>,
  type: Feed['types'][string] | undefined,
  feed: Feed,
): OurVisit | OurView {
  if (!type) return incomplete('No kind of visit was told: say which it is.')
  if (!told.startsAt) return incomplete('No time was told.')
  const places = told.places ?? []
  const clinic = clinicOf(places, feed)
  if (!clinic) return incomplete(`No clinic of ours: place ${codes(places)} is not in the feed's description.`, true)
  const patient = patientOf(known, told.patient, feed)
  if ('is' in patient) return patient
  return {
    ...{ clinic, patient, startsAt: told.startsAt, minutes: told.minutes ?? null },
    clinician: clinicianOf(told.clinicians?.[0] ?? '', feed),
    ...{ protocol: type.protocol, purpose: told.purpose ?? type.purpose, dueBy: told.dueBy ?? null },
    ...{ overbooked: told.overbooked ?? false, consent: told.consent ?? false },
  }
}

function patientOf(known: LookUps, id: string | undefined, feed: Feed): OurPatient | OurView {
  const row = id === undefined ? undefined : known.patients.get(currentId(known, id))
  const told: Partial<TheirPatient> = row ? valuesOf(row) : {}
  const { number: phone, kind } = told.phones?.[0] ?? {}
  if (!told.name) return incomplete('No name of the patient was told.')
  if (!phone) return incomplete('The patient has no telephone number: ask for one.')
  const { authority, type } = feed.patientId
  const own = told.ids?.find((each) => (!authority || each.authority === authority) && (!type || each.type === type))
  const language = told.language ? entry(feed.languages, told.language) : undefined
  return {
    ...{
      name: told.name,
      phone,
      fixedLine: kind === 'fixed',
      ownNumber: own?.value ?? null,
      email: told.email ?? null,
    },
    ...{ birthDate: told.birthDate ?? null, language: language ?? null, died: told.died ?? false },
    lmp: told.lmp ?? null,
  }
}

/** What an id of a patient is called now, however often it was merged. */
export function currentId(known: Pick<LookUps, 'aliases'>, id: string): string {
  let current = id
  // A chain that leads back to itself is the senders' fault, and must not hang here.
  for (let steps = 0; steps < 50; steps++) {
    const next = known.aliases.get(current)
    if (next === undefined || next === id) return current
    current = next
  }
  return current
}

/** Of a visit's key: all but its occurrence. */
export const seriesOf = (key: string): string => key.slice(0, key.lastIndexOf('^'))

/** A later word on this very occurrence counts more than the end of its series. */
function endedBySeries(known: LookUps, key: string, { state, startsAt }: Registered<TheirVisit>): boolean {
  const end = known.seriesEnds.get(seriesOf(key))
  if (!end || !startsAt?.value || startsAt.value < end.from) return false
  return compareStamps(state!.by, end.by) <= 0
}

const codes = (places: readonly string[]) =>
  places.length === 0 ? '(none told)' : places.map((each) => `"${each}"`).join(', ')
