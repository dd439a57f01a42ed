import type { Reading } from '../../domain/replies/reading.ts'
import { type Conversation, type Done } from './conversation.ts'
import { loadVisit } from '../lookups.ts'
import type { Deps, ReplyRecord, Tx } from '../ports/deps.ts'
import { leaveQuestion } from './pending-question.ts'
import { replyForVisit } from './reply-for-visit.ts'
import { enqueueDue } from '../messages/enqueue-due.ts'
import { REPLY_MEANINGS } from '../../domain/replies/reply-meanings.ts'
import { takeReply, type WayIn } from './take-reply.ts'
import { markRead } from '../messages/read-on-page.ts'
import { renderMessage } from '../messages/render-message.ts'

/** Stands for the page where a reply or an answer names its gateway. */
const PAGE = 'page'

/**
 * What was answered on the page: its meaning needs no reading. A choice names the opening, since the offer may have
 * changed.
 */
export interface PageAnswer {
  reading: Reading
  slotId?: string
}

/**
 * Hears an answer given on the booking's private page: the same flow, but what would be texted in answer stands on the
 * page.
 * @returns id of the reply, by which `saidOnPage` finds the answer again
 */
export async function hearOnPage(deps: Deps, bookingId: string, answer: PageAnswer): Promise<string> {
  const { booking, patient } = await loadVisit(deps.store.read, await deps.store.read.bookings.get(bookingId))
  const id = deps.newId('t')
  const facts = {
    gateway: PAGE,
    key: id,
    phone: patient.phone,
    text: wordsForRecord(answer.reading),
    reading: answer.reading,
    done: null,
  }
  const said: ReplyRecord = {
    ...facts,
    id,
    clinicId: booking.clinicId,
    patientId: patient.id,
    receivedAt: deps.clock.now(),
    bookingId,
  }
  await takeReply(deps, said, byPage(deps, answer))
  await enqueueDue(deps)
  return id
}

/** Nobody has more to say on a page in a day; whoever goes on pressing is to call. Common practice, no source. */
const ANSWERS_A_DAY = 20
const DAY_MS = 24 * 3_600_000

/** Whether the page of a booking takes one more answer today. */
export async function mayAnswerOnPage({ store, clock }: Deps, bookingId: string, phone: string): Promise<boolean> {
  const lately = await store.read.replies.fromPhone(phone, new Date(clock.now().getTime() - DAY_MS))
  return lately.filter((reply) => reply.gateway === PAGE && reply.bookingId === bookingId).length < ANSWERS_A_DAY
}

/** What the page says to an answer given on it. */
export interface SaidOnPage {
  /** Empty where plain thanks will do. */
  words: string
  /** The times that were chosen from are not on offer any more. */
  changed: boolean
}

/** What is shown in answer to a reply from the page; null when there is no such reply. */
export async function saidOnPage({ store }: Deps, bookingId: string, replyId: string): Promise<SaidOnPage | null> {
  const reply = await store.read.replies.get(replyId)
  if (reply?.gateway !== PAGE || reply.bookingId !== bookingId) return null
  const messages = await store.read.messages.ofBooking(bookingId)
  const answers = messages.filter(
    ({ gateway, sentAt }) => gateway === PAGE && sentAt?.getTime() === reply.receivedAt.getTime(),
  )
  return { words: answers.map(({ text }) => text).join(' '), changed: reply.done === OFFER_CHANGED }
}

const OFFER_CHANGED = 'offer-changed'

function byPage(deps: Deps, answer: PageAnswer): WayIn<null> {
  return {
    read: (tx, { reply }) => meant(tx, reply, answer),
    act: async (tx, hearing, reading) => ({ done: await respond(tx, deps, hearing, reading), result: null }),
  }
}

async function respond(tx: Tx, deps: Deps, hearing: Conversation, reading: Reading): Promise<Done> {
  const { bookingId, receivedAt } = hearing.reply
  await markRead(tx, deps, bookingId!)
  const visit = hearing.visits.find(({ booking }) => booking.id === bookingId)
  if (reading.meaning === 'choice' && reading.choice === undefined) return { bookingId, done: OFFER_CHANGED }
  // Cancelled between the view and the press: the page says so by itself.
  if (!visit) return { bookingId, done: 'unclear' }
  // Which visit was meant before may have been said by this: a number that comes now may mean something else.
  if (hearing.pendingQuestion) await leaveQuestion(tx, deps, hearing, hearing.pendingQuestion)
  const done = await replyForVisit(tx, deps, { ...hearing, pendingQuestion: null }, visit, reading)
  await sayOnPage(tx, deps, visit.booking.id, receivedAt)
  return done
}

/** The number of the opening that was chosen, in the offer as it is now; without one it is on offer no more. */
async function meant(tx: Tx, { bookingId }: ReplyRecord, { reading, slotId }: PageAnswer): Promise<Reading> {
  if (reading.meaning !== 'choice') return reading
  const offer = await tx.offers.pending(bookingId!)
  const at = offer?.state === 'open' ? offer.choices.findIndex((choice) => choice.slotId === slotId) : -1
  return at < 0 ? reading : { ...reading, choice: at + 1 }
}

/** What was pressed, for the conversation as the desk reads it. */
function wordsForRecord({ meaning, startedOn }: Reading): string {
  const words = `(on the private page) ${REPLY_MEANINGS[meaning].label}`
  return startedOn === undefined ? words : `${words} ${startedOn}`
}

/** Answers just made are shown at once and count as delivered: they are being looked at. */
async function sayOnPage(tx: Tx, deps: Deps, bookingId: string, at: Date): Promise<void> {
  const { booking, patient, clinic } = await loadVisit(tx, await tx.bookings.get(bookingId))
  const made = ({ prompted, state, sendAt }: { prompted: boolean; state: string; sendAt: Date }) =>
    prompted && state === 'planned' && sendAt >= at
  for (const answer of (await tx.messages.ofBooking(bookingId)).filter(made)) {
    const { text, state } = renderMessage(deps, answer, { booking, patient, clinic, zone: booking.zone })
    const shown = state === 'approved' || deps.policy.allowDrafts
    await tx.messages.move(answer.id, ['planned'], shown ? 'delivered' : 'withdrawn', {
      gateway: PAGE,
      text,
      sentAt: at,
      endedAt: at,
      code: 'on-page',
    })
  }
}
