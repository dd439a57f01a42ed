import { Failure } from '../../../domain/failure.ts'
import { toInstant, dateIn } from '../../../domain/local-time.ts'
import { bookVisit, clinicOf, refuseFaults, visitTime } from '../../../flows/visits/book-visit.ts'
import { judgeBooking } from '../../../flows/visits/judge-booking.ts'
import { withIdempotencyKey } from '../../../flows/visits/idempotency.ts'
import type { SendJob } from '../../../flows/ports/jobs.ts'
import type { Note } from '../../../flows/ports/traces.ts'
import { draftOf, previewVisit, type Proposal } from '../../../flows/visits/preview-visit.ts'
import { enqueueJobsSoon } from '../../../flows/messages/enqueue-due.ts'
import {
  boundsOf,
  emptyFields,
  faultsFrom,
  faultsOf,
  historyOf,
  minutesIn,
  isDate,
  readFields,
  requestOf,
  type BookFields,
  type Faults,
} from './book-fields.ts'
import { phoneOf } from './understood.ts'
import { askedOf, noteOf, unsettled, withKnown } from './book-asks.ts'
import { toldReach } from './reach-fields.ts'
import { bookForm } from './book-form.ts'
import type { Asked, BookForm, Look } from './book-form-data.ts'
import { knownAt } from '../../../flows/visits/known-at.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'
import { dateOr } from '../desk/when.ts'

/** Without a date, openings are looked for around so many days from now. */
const SOON_MS = 10 * 86_400_000

export function mountBook(desk: Desk): void {
  desk.get('book', (sheet) => page(sheet, emptyFields(sheet.deps.newId('k'), fromAddress(sheet)), {}))
  desk.post('book/look', (sheet) => look(sheet, readFields(sheet)))
  desk.post('book', (sheet) => book(sheet, readFields(sheet)))
}

/** A day may be chosen beforehand, e.g. from an opening. */
function fromAddress({ query }: PageContext): Partial<BookFields> {
  const date = dateOr(query.date, '')
  return date === ''
    ? {}
    : {
        date,
        ...(/^\d{2}:\d{2}$/.test(query.time ?? '') && { time: query.time! }),
        clinician: (query.clinician ?? '').slice(0, 80),
      }
}

async function look(sheet: PageContext, typed: BookFields): Promise<Answer> {
  const { deps, clinic, now } = sheet
  const same = field(sheet, 'same')
  const known = same === '' ? [] : await knownAt(deps.store.read, clinic.id, phoneOf(typed.phone, clinic.country), now)
  const fields = withKnown(typed, known, same)
  if (same !== '') return page(sheet, fields, {}, 'lmp')
  return page(sheet, fields, {}, field(sheet, 'pick') === '' ? 'phone' : nextEmpty(fields))
}

function nextEmpty(fields: BookFields): keyof BookFields {
  return (['phone', 'name'] as const).find((name) => fields[name] === '') ?? 'consent'
}

async function book(sheet: PageContext, fields: BookFields): Promise<Answer> {
  const { deps } = sheet
  const faults = faultsOf(fields)
  if (Object.keys(faults).length > 0) return { status: 422, page: await page(sheet, fields, faults) }
  const asked = await askedOf(sheet, fields, await lookOf(sheet, fields))
  const open = unsettled(sheet, asked)
  // Pressed twice: the visit that is doubted is this one.
  const isRepeated = await deps.store.read.idempotency.get(keyOf(sheet, fields))
  if (Object.keys(open).length > 0 && !isRepeated)
    return { status: 422, page: await page(sheet, fields, open, 'despite') }
  try {
    const id = await sheet.deps.traces.span('book visit', {}, (note) => keep(sheet, fields, asked, note))
    return { to: sheet.at(`visits/${id}?said=booked`) }
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    return { status: 409, page: await page(sheet, { ...fields, key: sheet.deps.newId('k') }, faultsFrom(error)) }
  }
}

const keyOf = ({ deps }: PageContext, { key }: BookFields): string =>
  /^[\w-]{8,80}$/.test(key) ? `desk ${key}` : deps.newId('k')

/** Books once, however often the button is pressed. */
async function keep(sheet: PageContext, fields: BookFields, asked: Asked, note: Note): Promise<string> {
  const { deps } = sheet
  const request = requestOf(sheet, fields, todayOf(sheet))
  let jobs: SendJob[] = []
  const answer = await withIdempotencyKey(
    deps,
    keyOf(sheet, fields),
    request,
    (tx) => clinicOf(tx, request.clinic),
    async (tx, clinic) => {
      const booked = await bookVisit(tx, deps, { ...request, note: noteOf(sheet, asked) }, clinic)
      jobs = booked.jobs
      return { status: 201, body: { id: booked.booking.id } }
    },
  )
  const { id } = answer.body as { id: string }
  note(answer.repeated ? { idle: true } : { booking: id, clinic: sheet.clinic.id })
  enqueueJobsSoon(deps, jobs, id)
  if (!answer.repeated) deps.notice('booked', { booking: id })
  return id
}

const todayOf = ({ now, clinic }: PageContext) => dateIn(now, clinic.zone)

async function page(
  sheet: PageContext,
  fields: BookFields,
  faults: Faults,
  focus: BookForm['focus'] = 'phone',
): Promise<PageContent> {
  const [firstFault] = Object.keys(faults) as (keyof BookFields)[]
  const look = await lookOf(sheet, fields)
  const asked = await askedOf(sheet, fields, look)
  const body = bookForm({ sheet, fields, faults, look, asked, focus: firstFault ?? focus })
  return { title: 'Book a visit', here: 'book', body, rules: true }
}

/** As much as the form allows to say; a form that cannot be read yet says nothing. */
async function lookOf(sheet: PageContext, fields: BookFields): Promise<Look | null> {
  const { deps, clinic, now } = sheet
  const cycle = historyOf(fields, todayOf(sheet))
  const protocol = deps.protocols.get(fields.protocol)
  if (!cycle || !protocol) return null
  const visitAt = timeOf(sheet, fields)
  const { zone } = clinic
  const proposal: Proposal = {
    clinic,
    clinician: fields.clinician,
    protocol: protocol.id,
    visitAt: visitAt ?? new Date(now.getTime() + SOON_MS),
    zone,
    ...minutesIn(fields),
    ...boundsOf(fields),
    patient: patientOf(sheet, fields, cycle),
    reach: toldReach(fields),
    agrees: fields.consent === 'yes' ? { until: isDate(fields.until) ? fields.until : null } : null,
  }
  try {
    refuseFaults(cycle, todayOf(sheet))
    if (!visitAt)
      return {
        cycle,
        protocol,
        preview: null,
        openings: await goodOpenings(sheet, proposal),
        around: proposal.visitAt,
        zone,
      }
    const preview = await previewVisit(deps, proposal)
    return { cycle, protocol, preview, openings: preview.openings, around: visitAt, zone }
  } catch (error) {
    // Dates that contradict each other are said when the form is sent, beside the field.
    if (error instanceof Failure) return null
    throw error
  }
}

function timeOf({ deps, clinic }: PageContext, { date, time }: BookFields): Date | null {
  try {
    toInstant(`${date}T${time}`, clinic.zone, 'visit')
    return visitTime(deps, `${date}T${time}`, clinic.zone)
  } catch {
    return null
  }
}

function patientOf(
  { clinic }: PageContext,
  fields: BookFields,
  cycle: Proposal['patient']['cycle'],
): Proposal['patient'] {
  const { name, language } = fields
  return {
    clinicId: clinic.id,
    name,
    phone: phoneOf(fields.phone, clinic.country),
    language,
    ...(isDate(fields.birth) && { birthDate: fields.birth }),
    ...(fields.own !== '' && { ownNumber: fields.own.trim() }),
    cycle,
  }
}

async function goodOpenings({ deps }: PageContext, proposal: Proposal): Promise<Look['openings']> {
  const booking = draftOf(deps, { ...proposal, clinician: '' })
  const patient = { ...proposal.patient, id: '', channel: 'sms', detail: 'full' } as const
  const about = { booking, patient, clinic: proposal.clinic }
  return (await judgeBooking(deps.store.read, deps, about, { mustMove: true })).openings
}
