import type { Reading } from '../domain/replies/reading.ts'
import { gather } from './hear-reply.ts'
import { wholeBooking } from './lookups.ts'
import type { Deps, ReplyRecord, Tx } from './ports.ts'
import { forVisit } from './reply-for-visit.ts'
import { ringDue } from './ring-due.ts'
import { wordsOf } from './words-of.ts'

/** Stands for the page where a reply or an answer names its gateway. */
const PAGE = 'page'

/**
 * Hears an answer given on the booking's private page: the same flow, but her answer stands on the page instead of being
 * texted. What it means needs no reading.
 * @returns id of the reply, by which `saidOnPage` finds the answer again
 */
export async function hearOnPage(deps: Deps, bookingId: string, reading: Reading): Promise<string> {
  const id = await deps.store.transact((tx) => onPage(tx, deps, bookingId, reading))
  await ringDue(deps)
  return id
}

/** The words shown in answer to a reply from the page; empty where plain thanks will do, null when there is no such reply. */
export async function saidOnPage({ store }: Deps, bookingId: string, replyId: string): Promise<string | null> {
  const reply = await store.read.replies.get(replyId)
  if (reply?.gateway !== PAGE || reply.bookingId !== bookingId) return null
  const messages = await store.read.messages.ofBooking(bookingId)
  const answers = messages.filter(({ gateway, sentAt }) => gateway === PAGE && sentAt?.getTime() === reply.receivedAt.getTime())
  return answers.map(({ text }) => text).join(' ')
}

async function onPage(tx: Tx, deps: Deps, bookingId: string, reading: Reading): Promise<string> {
  const about = await wholeBooking(tx, await tx.bookings.lock(bookingId))
  const id = deps.newId('t')
  const now = deps.clock.now()
  const reply: ReplyRecord = {
    id,
    gateway: PAGE,
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
  await sayOnPage(tx, deps, bookingId, now)
  return id
}

/** What she pressed, for the conversation as the desk reads it. */
function wordsForRecord({ meaning, startedOn, choice }: Reading): string {
  return [`(on her page) ${meaning}`, startedOn, choice].filter((part) => part !== undefined).join(' ')
}

/** Answers just made are shown at once and count as delivered: she is looking at them. */
async function sayOnPage(tx: Tx, deps: Deps, bookingId: string, now: Date): Promise<void> {
  const { booking, patient, clinic } = await wholeBooking(tx, await tx.bookings.get(bookingId))
  const answers = (await tx.messages.ofBooking(bookingId)).filter((each) => each.revision === null && each.state === 'planned' && each.sendAt >= now)
  for (const answer of answers) {
    const { text, state } = wordsOf(deps, answer, { booking, patient, clinic, zone: booking.zone })
    const shown = state === 'approved' || deps.policy.allowDrafts
    await tx.messages.move(answer.id, ['planned'], shown ? 'delivered' : 'withdrawn', { gateway: PAGE, text, sentAt: now, endedAt: now, code: 'on-page' })
  }
}
