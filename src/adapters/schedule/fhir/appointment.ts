import type { MessageRead, Refusal } from '../../../domain/schedule/feed.ts'
import type { AppointmentKey, ToldPatient, ToldVisit } from '../../../domain/schedule/schedule-news.ts'
import { CODE, toPerson } from '../read-context.ts'
import { statusMeaning } from '../statuses.ts'
import { consentIn, head, nothing, type Reading } from './reading.ts'
import { testPatient, toldPatient } from './patient.ts'
import { codesIn, codesOf, idsOf, isCurrent, ownBase, resolve, typeOf } from './references.ts'
import { appointmentSchema, patientSchema, slotSchema, type Appointment, type Reference } from './schemas.ts'
import { isResource, notUnderstood, strictly } from './strict.ts'

const MINUTE = 60_000
const CLINICIANS = ['Practitioner', 'PractitionerRole']
const PLACES = ['Location', 'HealthcareService']

/** One visit, as `Appointment` has it. The whole is told each time: whether it is new is for the store to say. */
export function readAppointment(reading: Reading): MessageRead {
  const read = strictly(appointmentSchema, reading.resource, 'Appointment')
  if ('refused' in read) return read.refused
  const told = read.fields
  const event = statusMeaning(told.status, reading.feed)
  if (event === undefined || event === 'no-booking')
    return nothing(`Appointment.status: "${told.status}" is no booking yet, nothing was made of it.`)
  const fault = invariantFault(told, event !== 'cancelled' && event !== 'entered-in-error')
  if (fault) return fault
  const key = keyOf(told, reading)
  if ('ack' in key) return key
  const patients = actorsOf(told, ['Patient'], reading)
  if (patients.length > 1)
    return toPerson(CODE.person, 'Appointment.participant', 'Several patients have one visit: book each by hand.')
  const patient = patients[0] ? patientOf(patients[0], reading) : noPatient()
  if ('ack' in patient) return patient
  const visit = visitOf(told, reading)
  const doubts = [...patient.doubts, ...declined(told, reading)]
  return { news: [{ ...head('Appointment', told, reading), event, key, visit, patient: patient.told, doubts }] }
}

/** R4's invariants app-1 to app-3. Not app-4: it forbids a reason with `noshow` by a slip of spelling. */
function invariantFault({ start, end, participant }: Appointment, needsTime: boolean): Refusal | undefined {
  const nobody = participant.findIndex(({ type, actor }) => type === undefined && actor === undefined)
  if (nobody >= 0)
    return toPerson(CODE.missing, `Appointment.participant[${nobody}]`, 'app-1: it names neither a type nor an actor.')
  if ((start === undefined) !== (end === undefined))
    return toPerson(CODE.missing, `Appointment.${start ? 'end' : 'start'}`, 'app-2: start and end go together.')
  if (start === undefined)
    return needsTime
      ? toPerson(CODE.missing, 'Appointment.start', 'app-3: only a wish or a cancelled visit may lack its time.')
      : undefined
  return Date.parse(end!) <= Date.parse(start)
    ? toPerson(CODE.value, 'Appointment.end', 'The visit ends before it has begun.')
    : undefined
}

function keyOf({ id, identifier = [] }: Appointment, reading: Reading): AppointmentKey | Refusal {
  const { feed, context } = reading
  if (feed.keySystem === null)
    return id === undefined
      ? toPerson(CODE.missing, 'Appointment.id', 'It has no id: send it with one, or name the system of its number.')
      : { id, namespace: ownBase(reading), occurrence: '' }
  const numbers = identifier.filter((one) => one.system === feed.keySystem && one.value && isCurrent(one, context.now))
  const [first, ...more] = new Set(numbers.map(({ value }) => value!))
  if (first === undefined)
    return toPerson(CODE.missing, 'Appointment.identifier', 'It has no number of the system that this feed goes by.')
  return more.length > 0
    ? toPerson(CODE.value, 'Appointment.identifier', 'It has several numbers of the system that this feed goes by.')
    : { id: first, namespace: feed.keySystem, occurrence: '' }
}

/** The key of a visit of which only the address is told, as with DELETE. */
export function keyOfDeleted(id: string, reading: Reading): AppointmentKey | Refusal {
  if (reading.feed.keySystem === null) return { id, namespace: ownBase(reading), occurrence: '' }
  const read = strictly(appointmentSchema, reading.together.byUrl.get(`Appointment/${id}`), 'Appointment')
  return 'refused' in read
    ? toPerson(CODE.unknownKey, 'Bundle.entry.request.url', 'What was deleted is known here by another number.')
    : keyOf(read.fields, reading)
}

function actorsOf({ participant }: Appointment, types: readonly string[], reading: Reading): Reference[] {
  return participant
    .filter(
      ({ actor, status }) => types.includes(typeOf(actor, reading)) && (status !== 'declined' || isPatient(types)),
    )
    .map(({ actor }) => actor!)
}

function isPatient(types: readonly string[]): boolean {
  return types.includes('Patient')
}

function noPatient() {
  return { told: null, doubts: ['Appointment.participant: it names no patient.'] }
}

function patientOf(actor: Reference, reading: Reading): { told: ToldPatient; doubts: string[] } | Refusal {
  const { context } = reading
  const found = resolve(actor, reading)
  if (isResource(found?.resource)) {
    const fault = notUnderstood(found.resource)
    if (fault) return fault
    const read = strictly(patientSchema, found.resource, 'Patient')
    if ('refused' in read) return read.refused
    return testPatient(read.fields, reading) ?? toldPatient(read.fields, found, context)
  }
  const ids = idsOf(actor.identifier ? [actor.identifier] : [], found, context.now)
  return ids.length === 0
    ? toPerson(CODE.missing, 'Appointment.participant', 'Who the patient is cannot be found in what was sent.')
    : { told: { ids }, doubts: [] }
}

function visitOf(told: Appointment, reading: Reading): ToldVisit {
  const { start, end, minutesDuration } = told
  const minutes = start && end ? Math.ceil((Date.parse(end) - Date.parse(start)) / MINUTE) : minutesDuration
  const consent = consentIn(told, reading.feed)
  const codes = (types: readonly string[]) => actorsOf(told, types, reading).flatMap((actor) => codesOf(actor, reading))
  return {
    ...(start !== undefined && { startsAt: new Date(start) }),
    ...(minutes !== undefined && { minutes }),
    places: codes(PLACES),
    clinicians: codes(CLINICIANS),
    types: codesIn([...(told.serviceType ?? []), told.appointmentType, ...(told.reasonCode ?? [])]),
    status: told.status,
    ...(overbooked(told, reading) && { overbooked: true }),
    ...(consent !== undefined && { consent }),
  }
}

function overbooked({ slot = [] }: Appointment, reading: Reading): boolean {
  return slot.some((one) => slotSchema.safeParse(resolve(one, reading)?.resource).data?.overbooked === true)
}

function declined({ participant }: Appointment, reading: Reading): string[] {
  const said = participant.some(({ actor, status }) => status === 'declined' && typeOf(actor, reading) === 'Patient')
  return said ? ['Appointment.participant: the patient has declined, by what the schedule says.'] : []
}
