import type { Reading } from '../domain/replies/reading.ts'
import { gather } from './hear-reply.ts'
import { wholeBooking } from './lookups.ts'
import type { Deps, ReplyRecord, Tx } from './ports.ts'
import { forVisit } from './reply-for-visit.ts'
import { ringDue } from './ring-due.ts'
import { wordsOf } from './words-of.ts'

/**
 * Hears an answer given on the booking's private page: the same flow, but her answer stands on the page instead of being
 * texted. What it means needs no reading.
 * @returns the words of the answer, empty where plain thanks will do
 */
export async function hearOnPage(deps: Deps, bookingId: string, reading: Reading): Promise<string> {
  const said = await deps.store.transact((tx) => onPage(tx, deps, bookingId, reading))
  await ringDue(deps)
  return said
}

async function onPage(tx: Tx, deps: Deps, bookingId: string, reading: Reading): Promise<string> {
  const about = await wholeBooking(tx, await tx.bookings.lock(bookingId))
  const id = deps.newId('t')
  const now = deps.clock.now()
  const reply: ReplyRecord = {
    id,
    gateway: 'page',
    key: id,
    phone: about.patient.phone,
    text: wordsForRecord(reading),
    receivedAt: now,
    bookingId,
    reading,
    done: null,
  }
  await tx.replies.insert(reply)
  const hearing = await gather(tx, deps, reply)
  const done = await forVisit(tx, deps, hearing, about, reading)
  await tx.replies.update({ ...reply, ...done })
  deps.notice('reply-heard', { reply: id, booking: bookingId })
  return sayOnPage(tx, deps, bookingId, now)
}

/** What she pressed, for the conversation as the desk reads it. */
function wordsForRecord({ meaning, startedOn, choice }: Reading): string {
  return [`(on her page) ${meaning}`, startedOn, choice].filter((part) => part !== undefined).join(' ')
}

/** Answers just made are shown at once and count as delivered: she is looking at them. */
async function sayOnPage(tx: Tx, deps: Deps, bookingId: string, now: Date): Promise<string> {
  const { booking, patient, clinic } = await wholeBooking(tx, await tx.bookings.get(bookingId))
  const answers = (await tx.messages.ofBooking(bookingId)).filter((each) => each.revision === null && each.state === 'planned' && each.sendAt >= now)
  const words: string[] = []
  for (const answer of answers) {
    const { text, state } = wordsOf(deps, answer, { booking, patient, clinic, zone: booking.zone })
    const shown = state === 'approved' || deps.policy.allowDrafts
    if (shown) words.push(text)
    await tx.messages.move(answer.id, ['planned'], shown ? 'delivered' : 'withdrawn', { gateway: 'page', text, sentAt: now, endedAt: now, code: 'on-page' })
  }
  return words.join(' ')
}
