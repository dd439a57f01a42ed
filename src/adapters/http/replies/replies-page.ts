import { DateTime } from 'luxon'
import type { Patient } from '../../../domain/patients/patient.ts'
import { REPLY_MEANINGS } from '../../../domain/replies/reply-meanings.ts'
import type { ReplyRecord } from '../../../flows/ports/deps.ts'
import { html, type Html } from '../pages/html.ts'
import type { Desk } from '../desk/page.ts'
import type { Answer } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'
import { doneWords, phoneWords } from '../desk/words.ts'

const ON_A_PAGE = 25

export function mountReplies(desk: Desk): void {
  desk.get('replies', replies)
}

/** The latest replies, each with what Daysix understood and did. */
async function replies(sheet: PageContext): Promise<Answer> {
  const before = readCursor(sheet.query.before)
  const found = await sheet.deps.store.read.replies.recent({
    clinicId: sheet.clinic.id,
    ...(before && { before }),
    limit: ON_A_PAGE + 1,
  })
  const shown = found.slice(0, ON_A_PAGE)
  const patients = await sendersOf(sheet, shown)
  return {
    title: 'Replies',
    here: 'replies',
    body: html`<section id="replies" data-live
      hx-get="${sheet.at(`replies${sheet.query.before ? `?before=${encodeURIComponent(sheet.query.before)}` : ''}`)}"
        hx-trigger="news" hx-select="#replies" hx-swap="outerHTML" aria-label="Latest replies">
${shown.length === 0 ? html`<p class="empty">No replies yet.</p>` : table(sheet, shown, patients)}
${
  found.length > ON_A_PAGE &&
  html`<p><a id="older"
  href="${sheet.at(`replies?before=${writeCursor(shown.at(-1)!)}`)}">Older replies</a></p>`
}
</section>`,
  }
}

function table(sheet: PageContext, shown: readonly ReplyRecord[], patients: ReadonlyMap<string, Patient>): Html {
  return html`<table class="ledger replies"><caption class="unseen">Replies, newest first</caption>
<thead><tr><th scope="col">When</th><th scope="col">From</th><th scope="col">The patient's words</th><th
  scope="col">Understood</th><th scope="col">Done</th></tr></thead>
<tbody>${shown.map((reply) => row(sheet, reply, patients.get(reply.id)))}</tbody></table>`
}

function row(sheet: PageContext, reply: ReplyRecord, patient: Patient | undefined): Html {
  const { id, receivedAt, phone, text, reading, corrected, done } = reply
  const meaning = reading?.meaning ?? 'unclear'
  return html`<tr><td class="time"><time
    datetime="${receivedAt.toISOString()}">${sheet.dayAndClock(receivedAt, sheet.clinic.zone)}</time></td>
<td class="who"><a id="r-${id}"
  href="${sheet.at(`replies/${patient?.id ?? id}#${id}`)}">${patient?.name ?? 'Not one of our patients'}</a><small>${phoneWords(phone)}</small></td>
<td><q>${text}</q></td>
<td>${
    meaning === 'unclear'
      ? html`<b
  class="act">${REPLY_MEANINGS[meaning].label}</b>`
      : REPLY_MEANINGS[meaning].label
  }${corrected && html`<small>corrected by ${corrected.by}</small>`}</td>
<td>${doneWords(done)}</td></tr>
`
}

/** Whose replies these are: by the visit they were about, else by the number where it is one patient's only. */
async function sendersOf(
  { deps, clinic }: PageContext,
  replies: readonly ReplyRecord[],
): Promise<Map<string, Patient>> {
  const { read } = deps.store
  const bookings = new Map(
    (await read.bookings.many(replies.flatMap(({ bookingId }) => bookingId ?? []))).map((each) => [each.id, each]),
  )
  const patients = new Map(
    (await read.patients.many([...new Set([...bookings.values()].map(({ patientId }) => patientId))])).map((each) => [
      each.id,
      each,
    ]),
  )
  const senders = new Map<string, Patient>()
  for (const { id, bookingId, phone } of replies) {
    const known =
      bookingId === null
        ? await onlyOne(read.patients.byPhone(phone), clinic.id)
        : patients.get(bookings.get(bookingId)?.patientId ?? '')
    if (known) senders.set(id, known)
  }
  return senders
}

async function onlyOne(asked: Promise<Patient[]>, clinic: string): Promise<Patient | undefined> {
  const patients = (await asked).filter(({ clinicId }) => clinicId === clinic)
  return patients.length === 1 ? patients[0] : undefined
}

function writeCursor({ receivedAt, id }: ReplyRecord): string {
  return Buffer.from(`${receivedAt.toISOString()}|${id}`).toString('base64url')
}

function readCursor(cursor: string | undefined): { receivedAt: Date; id: string } | undefined {
  const [instant, id] = Buffer.from(cursor ?? '', 'base64url')
    .toString()
    .split('|')
  const receivedAt = DateTime.fromISO(instant ?? '', { zone: 'utc' })
  return receivedAt.isValid && id ? { receivedAt: receivedAt.toJSDate(), id } : undefined
}
