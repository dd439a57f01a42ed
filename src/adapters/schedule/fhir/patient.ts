import type { MessageRead, Refusal } from '../../../domain/schedule/feed.ts'
import type { PatientId, ToldPatient } from '../../../domain/schedule/schedule-news.ts'
import { CODE, notAPatient, toPerson, type ReadContext } from '../read-context.ts'
import { head, type Reading } from './reading.ts'
import { codesIn, idsOf, isCurrent, ownBase, resolve } from './references.ts'
import { patientSchema, type Patient } from './schemas.ts'
import { strictly } from './strict.ts'

/** Somebody as `Patient` has them: who they are, how they are reached, and whether two records are one. */
export function readPatient(reading: Reading): MessageRead {
  const read = strictly(patientSchema, reading.resource, 'Patient')
  if ('refused' in read) return read.refused
  const told = read.fields
  const test = testPatient(told, reading)
  if (test) return test
  const common = { ...head('Patient', told, reading), key: null, visit: null }
  const own = { id: told.id ?? '', base: ownBase(reading) }
  const { told: patient, doubts } = toldPatient(told, own, reading.context)
  if (patient.ids.length === 0) return toPerson(CODE.missing, 'Patient.identifier', 'It has no number and no id.')
  const merges = mergesOf(told, patient.ids, reading)
  if ('ack' in merges) return merges
  const gone = told.link?.some(({ type }) => type === 'replaced-by')
  if (told.active === false && !gone && !patient.died)
    return toPerson(CODE.person, 'Patient.active', 'The record is out of use and no other is named: look whose it is.')
  const merged = merges.map(({ into, old }) => ({
    ...common,
    event: 'patients-merged' as const,
    patient: { ids: into },
    mergedIds: old,
    doubts: [],
  }))
  return { news: gone ? merged : [...merged, { ...common, event: 'patient', patient, doubts }] }
}

/** A name that the site gives to patients who do not exist: by the family, else by any word of the whole. */
export function testPatient({ name = [] }: Patient, { feed }: Reading): Refusal | undefined {
  const families = name.flatMap(({ family, text }) => (family === undefined ? (text ?? '').split(/\s+/) : [family]))
  return notAPatient(families, feed, 'Patient.name')
}

/** Each pair of records that became one: ids that stay, and those that are no more. */
function mergesOf({ link = [] }: Patient, own: readonly PatientId[], reading: Reading) {
  const merges: { into: PatientId[]; old: PatientId[] }[] = []
  for (const [index, { type, other }] of link.entries()) {
    if (type !== 'replaced-by' && type !== 'replaces') continue
    const found = resolve(other, reading)
    if (found?.type === 'RelatedPerson') continue
    const { data } = patientSchema.safeParse(found?.resource)
    const numbers = [...(data?.identifier ?? []), ...(other.identifier ? [other.identifier] : [])]
    const theirs = idsOf(numbers, found, reading.context.now)
    if (theirs.length === 0)
      return toPerson(CODE.missing, `Patient.link[${index}].other`, 'The other record cannot be found by this.')
    const [into, old] = type === 'replaced-by' ? [theirs, own] : [own, theirs]
    // A number that both carry, such as that of a health card, goes on.
    const goesOn = (one: PatientId) =>
      into.some(({ value, authority }) => value === one.value && authority === one.authority)
    merges.push({ into: [...into], old: old.filter((one) => !goesOn(one)) })
  }
  return merges
}

/** What is said of somebody. What is not said stays as it is known; what cannot be read is a doubt. */
export function toldPatient(told: Patient, own: { id: string; base: string }, { now }: ReadContext) {
  const doubts: string[] = []
  const birthDate = told.birthDate
  if (told.active === false) doubts.push('Patient.active: the record is out of use there.')
  const partial = birthDate !== undefined && birthDate.length < FULL_DATE
  if (partial) doubts.push('Patient.birthDate: only a part of the date was told, it was not taken.')
  const name = nameOf(told, now)
  const { phones, email, doubt } = reachedBy(told, now)
  if (doubt) doubts.push(doubt)
  const language = languageOf(told)
  const died = told.deceasedDateTime !== undefined ? true : told.deceasedBoolean
  const patient: ToldPatient = {
    ids: idsOf(told.identifier ?? [], own, now),
    ...(name !== undefined && { name }),
    ...(phones.length > 0 && { phones }),
    ...(email !== undefined && { email }),
    ...(birthDate !== undefined && !partial && { birthDate }),
    ...(language !== undefined && { language }),
    ...(died !== undefined && { died }),
  }
  return { told: patient, doubts }
}

export const FULL_DATE = 'YYYY-MM-DD'.length

/** The best name first. `maiden` and `old` are no names any more, `anonymous` never was. */
const NAME_USES: readonly (string | undefined)[] = ['official', 'usual', undefined, 'temp', 'nickname']

function nameOf({ name = [] }: Patient, now: Date): string | undefined {
  const current = name.filter((one) => isCurrent(one, now) && NAME_USES.includes(one.use))
  const [best] = current.sort((a, b) => NAME_USES.indexOf(a.use) - NAME_USES.indexOf(b.use))
  if (!best) return undefined
  const whole = best.family && best.given ? [...best.given, best.family].join(' ') : undefined
  return whole ?? best.text ?? best.family ?? best.given?.join(' ')
}

/** Mobile numbers first, then as ranked. A number at work is heard by others: it is not taken. */
function reachedBy({ telecom = [] }: Patient, now: Date) {
  const current = telecom.filter((one) => one.value !== undefined && isCurrent(one, now))
  const ranked = current.toSorted((a, b) => (a.rank ?? Infinity) - (b.rank ?? Infinity) || 0)
  const numbers = ranked.filter(({ system }) => system === 'phone' || system === 'sms')
  const phones = numbers
    .filter(({ use }) => use !== 'work')
    .map(({ value, use, system }) => ({
      number: value!.replace(/^(tel|sms):/i, ''),
      kind: use === 'mobile' || system === 'sms' ? ('mobile' as const) : ('unknown' as const),
    }))
    .sort((a, b) => Number(b.kind === 'mobile') - Number(a.kind === 'mobile'))
  const atWork = numbers.some(({ use }) => use === 'work')
  const email = ranked.find(({ system, use }) => system === 'email' && use !== 'work')?.value?.replace(/^mailto:/i, '')
  return { phones, email, doubt: atWork ? 'Patient.telecom: a number at work was not taken.' : undefined }
}

/** The language that is preferred, or the only one. */
function languageOf({ communication = [] }: Patient): string | undefined {
  const preferred = communication.find((one) => one.preferred === true)
  const one = preferred ?? (communication.length === 1 ? communication[0] : undefined)
  return one && codesIn([one.language])[0]
}
