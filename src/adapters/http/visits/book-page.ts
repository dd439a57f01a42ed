import { Failure } from '../../../domain/failure.ts'
import { toInstant, dateIn } from '../../../domain/local-time.ts'
import { toE164 } from '../../../domain/patients/phone.ts'
import { bookVisit, clinicOf, visitTime } from '../../../flows/visits/book-visit.ts'
import { betterOpenings } from '../../../flows/visits/judge-booking.ts'
import { withIdempotencyKey } from '../../../flows/visits/idempotency.ts'
import type { SendJob } from '../../../flows/ports/deps.ts'
import { previewVisit, type Proposal } from '../../../flows/visits/preview-visit.ts'
import { enqueueJobsSoon } from '../../../flows/messages/enqueue-due.ts'
import { emptyFields, faultsFrom, faultsOf, historyOf, readFields, requestOf, timingFacts, type BookFields, type Faults } from './book-fields.ts'
import { bookForm } from './book-form.ts'
import type { Look } from './book-look.ts'
import { field, type Answer, type Desk, type PageContent, type PageContext } from '../desk/page.ts'
import { dateOr } from '../desk/when.ts'
import { newBooking } from '../../../flows/visits/new-booking.ts'

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
  return date === '' ? {} : { date, ...(/^\d{2}:\d{2}$/.test(query.time ?? '') && { time: query.time! }), clinician: (query.clinician ?? '').slice(0, 80) }
}

async function look(sheet: PageContext, fields: BookFields): Promise<Answer> {
  const picked = field(sheet, 'pick') !== ''
  return page(sheet, fields, {}, picked ? nextEmpty(fields) : 'phone')
}

function nextEmpty(fields: BookFields): keyof BookFields {
  return (['phone', 'name'] as const).find((name) => fields[name] === '') ?? 'consent'
}

async function book(sheet: PageContext, fields: BookFields): Promise<Answer> {
  const faults = faultsOf(fields)
  if (Object.keys(faults).length > 0) return { status: 422, page: await page(sheet, fields, faults) }
  if (await isUnseen(sheet, fields)) return { status: 422, page: await page(sheet, fields, { time: BADLY_TIMED }) }
  try {
    const id = await keep(sheet, fields)
    return { to: sheet.at(`visits/${id}?said=booked`) }
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    return { status: 409, page: await page(sheet, { ...fields, key: sheet.deps.newId('k') }, faultsFrom(error)) }
  }
}

const BADLY_TIMED = 'This visit is badly timed: read what stands beside it. Choose another time, or press again to book it all the same.'

/** Whoever types faster than the panel answers, or without scripts, sees the verdict before a badly timed visit is booked. */
async function isUnseen(sheet: PageContext, fields: BookFields): Promise<boolean> {
  if (field(sheet, 'seen') === timingFacts(fields)) return false
  const preview = (await lookOf(sheet, fields))?.preview
  return preview !== undefined && preview !== null && !preview.judgement.keep
}

/** Books once, however often the button is pressed. */
async function keep(sheet: PageContext, fields: BookFields): Promise<string> {
  const { deps } = sheet
  const request = requestOf(sheet, fields, todayOf(sheet))
  const key = /^[\w-]{8,80}$/.test(fields.key) ? `desk ${fields.key}` : deps.newId('k')
  let jobs: SendJob[] = []
  const answer = await withIdempotencyKey(deps, key, request, (tx) => clinicOf(tx, request.clinic), async (tx, clinic) => {
    const booked = await bookVisit(tx, deps, request, clinic)
    jobs = booked.jobs
    return { status: 201, body: { id: booked.booking.id } }
  }) // prettier-ignore
  enqueueJobsSoon(deps, jobs)
  const { id } = answer.body as { id: string }
  if (!answer.repeated) deps.notice('booked', { booking: id })
  return id
}

const todayOf = ({ now, clinic }: PageContext) => dateIn(now, clinic.zone)

async function page(sheet: PageContext, fields: BookFields, faults: Faults, focus: keyof BookFields = 'phone'): Promise<PageContent> {
  const [firstFault] = Object.keys(faults) as (keyof BookFields)[]
  const body = bookForm({ sheet, fields, faults, look: await lookOf(sheet, fields), focus: firstFault ?? focus })
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
  const proposal: Proposal = { clinic, clinician: fields.clinician, protocol: protocol.id, visitAt: visitAt ?? new Date(now.getTime() + SOON_MS), zone, patient: patientOf(sheet, fields, cycle) }
  try {
    if (!visitAt) return { cycle, protocol, preview: null, openings: await goodOpenings(sheet, proposal), around: proposal.visitAt, zone }
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

function patientOf({ clinic }: PageContext, fields: BookFields, cycle: Proposal['patient']['cycle']): Proposal['patient'] {
  const { name, language } = fields
  return { clinicId: clinic.id, name, phone: phoneOf(fields.phone, clinic.country), language, channel: fields.channel === 'voice' ? 'voice' : 'sms', detail: fields.detail === 'discreet' ? 'discreet' : 'full', cycle }
}

function phoneOf(typed: string, country: string): string {
  try {
    return toE164(typed, country)
  } catch {
    return ''
  }
}

function goodOpenings({ deps, clinic, now }: PageContext, { visitAt, zone, protocol, patient }: Proposal): Promise<Look['openings']> {
  const booking = newBooking({ id: '', patientId: '', clinicId: clinic.id, clinician: '', protocol, visitAt, zone, createdAt: now })
  return betterOpenings(deps.store.read, deps, { booking, patient: { ...patient, id: '' }, clinic }, true)
}
