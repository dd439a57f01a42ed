import * as z from 'zod'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { badInput, Failure } from '../../../domain/failure.ts'
import type { Message } from '../../../domain/messages/message.ts'
import { MEANINGS } from '../../../domain/replies/reading.ts'
import { REPLY_MEANINGS } from '../../../domain/replies/reply-meanings.ts'
import { languageOf } from '../../../domain/messages/texts/render.ts'
import { correctReading } from '../../../flows/replies/correct-reading.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import type { ReplyRecord } from '../../../flows/ports/deps.ts'
import { writeByHand } from '../../../flows/messages/write-by-hand.ts'
import { html, type Html } from '../pages/html.ts'
import { herEntry, ourEntry } from './conversation-entry.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'
import { measured, writeForm } from '../messages/write-form.ts'
import { lineNote, telephone } from '../patients/line-note.ts'

const HALF_A_YEAR_MS = 183 * 86_400_000

export function mountConversation(desk: Desk): void {
  desk.get('replies/:id', (sheet) => conversation(sheet, '', null))
  desk.post('replies/:id/write', write)
  desk.post('replies/:id/measure', measure)
  desk.post('replies/:id/correct', correct)
}

/** Who the conversation is with: a patient, or, by one of its replies, a number that is nobody's. */
interface With {
  phone: string
  patient: Patient | null
  visits: Booking[]
}

async function loadWith({ deps, params, clinic, now }: PageContext): Promise<With> {
  const { read } = deps.store
  const id = params.id!
  const isHere = (of: { clinicId: string | null } | undefined) =>
    of !== undefined && (of.clinicId === clinic.id || of.clinicId === null)
  const known = id.startsWith('p_') ? await read.patients.get(id) : undefined
  const patient = id.startsWith('p_') ? orNotFound(isHere(known) ? known : undefined, 'patient') : null
  const reply = patient ? undefined : await read.replies.get(id)
  const phone = patient?.phone ?? orNotFound(isHere(reply) ? reply : undefined, 'reply').phone
  const visits = patient
    ? await read.bookings.list({
        patientIds: [patient.id],
        clinicId: clinic.id,
        from: new Date(now.getTime() - HALF_A_YEAR_MS),
        limit: 20,
      })
    : []
  return { phone, patient, visits }
}

/** Everything said in both directions, with what Daysix understood, did, and why. */
async function conversation(sheet: PageContext, words: string, fault: string | null): Promise<PageContent> {
  const about = await loadWith(sheet)
  const { patient, phone, visits } = about
  const { read } = sheet.deps.store
  const since = new Date(sheet.now.getTime() - HALF_A_YEAR_MS)
  const said = (await read.messages.toPhone(phone, sheet.clinic.id, since)).filter(
    ({ sentAt, state }) => sentAt !== null || state === 'queued' || state === 'sending',
  )
  const heard = (await read.replies.fromPhone(phone, since)).filter(
    ({ clinicId }) => clinicId === null || clinicId === sheet.clinic.id,
  )
  const optedOut = await read.optOuts.has(phone)
  return {
    title: 'Conversation',
    here: 'replies',
    rules: true,
    body: html`<p class="headline"><b>${patient?.name ?? 'Not one of our patients'}</b> ${telephone(phone, patient)}</p>
${patient && lineNote(patient)}
${
  visits.length > 0 &&
  html`<p>Visits: ${visits.map(
    (booking) => html`<a
  href="${sheet.at(`visits/${booking.id}`)}">${sheet.dayAndClock(booking.visitAt, booking.zone)}${booking.state === 'cancelled' && ' (cancelled)'}</a> `,
  )}</p>`
}
<section id="talk" data-live hx-get="${sheet.at(`replies/${sheet.params.id}`)}" hx-trigger="news" hx-select="#talk"
  hx-swap="outerHTML" aria-label="What was said">
${
  said.length + heard.length === 0
    ? html`<p class="empty">Nothing was said yet.</p>`
    : html`<ol
  class="talk">${inOrder(sheet, about, said, heard)}</ol>`
}
</section>
${
  patient
    ? writeForm(sheet, { patient, words, fault, optedOut })
    : html`<p
  class="note">Nobody here has this number. If you know whose it is, correct it in the patient's booking.</p>`
}`,
  }
}

function inOrder(
  sheet: PageContext,
  { visits }: With,
  said: readonly Message[],
  heard: readonly ReplyRecord[],
): Html[] {
  const entries = [
    ...heard.map((reply) => ({
      at: reply.receivedAt,
      entry: herEntry(
        sheet,
        reply,
        visits.filter(({ state, visitAt }) => state === 'booked' && visitAt > sheet.now),
      ),
    })),
    ...said.map((message) => ({ at: message.sentAt ?? message.sendAt, entry: ourEntry(sheet, message) })),
  ]
  // Sorting keeps equals in order: the patient's words come before the answer of the same minute.
  return entries.sort((a, b) => a.at.getTime() - b.at.getTime()).map(({ entry }) => entry)
}

/** Length and cost while the patient is being written to; nothing of the conversation. */
async function measure(sheet: PageContext): Promise<Answer> {
  const patient = orNotFound(await sheet.deps.store.read.patients.get(sheet.params.id!), 'patient')
  return { title: 'Length', here: 'replies', body: measured(sheet, patient, field(sheet, 'words')) }
}

async function write(sheet: PageContext): Promise<Answer> {
  const { deps, library, clinic, params } = sheet
  const words = field(sheet, 'words')
  try {
    const patient = orNotFound(await deps.store.read.patients.get(params.id!), 'patient')
    const when = await writeByHand(
      deps,
      { patientId: patient.id, clinicId: clinic.id, words, by: sheet.who.name },
      languageOf(library, patient.language),
    )
    return { to: sheet.at(`replies/${patient.id}?said=${when === 'now' ? 'written' : 'waiting'}`) }
  } catch (error) {
    if (!(error instanceof Failure) || error.detail.field !== 'words') throw error
    return { status: 422, page: await conversation(sheet, words, error.detail.message) }
  }
}

const correction = z.object({
  reply: z.string().max(64),
  meaning: z.enum(MEANINGS),
  date: z.union([z.literal(''), z.iso.date()]),
  choice: z.union([z.literal(''), z.coerce.number().int().min(1).max(3)]),
  visit: z.string().max(64),
})

async function correct(sheet: PageContext): Promise<Answer> {
  const given = Object.fromEntries(
    ['reply', 'meaning', 'date', 'choice', 'visit'].map((name) => [name, field(sheet, name)]),
  )
  const { reply, meaning, date, choice, visit } = correction.parse(given)
  if (REPLY_MEANINGS[meaning].carries === 'startedOn' && date === '')
    badInput('date', 'Give the day on which the period started.')
  await correctReading(sheet.deps, reply, {
    meaning,
    by: sheet.who.name,
    date: date || undefined,
    choice: choice === '' ? undefined : choice,
    bookingId: visit || undefined,
  })
  return { to: sheet.at(`replies/${sheet.params.id}?said=corrected#${reply}`) }
}
