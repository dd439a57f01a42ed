import type { Booking, Clinic, Patient } from '../domain/booking.ts'
import type { CycleHistory } from '../domain/cycle/history.ts'
import { decideForNumber, decideForVisit, isAboutTheNumber, type Effect } from '../domain/replies/decide.ts'
import type { Reading } from '../domain/replies/reading.ts'
import { MOST_CHOICES, dateIn } from '../domain/rebook/choose.ts'
import type { TextKind } from '../domain/texts/kinds.ts'
import type { Heard } from './gateway.ts'
import { judgeBooking } from './judge-booking.ts'
import { protocolOf } from './lookups.ts'
import { makePlan } from './make-plan.ts'
import { acceptChoice, offerOpenings, overtake } from './move-visit.ts'
import type { Deps, ReplyRecord, Thread, Tx } from './ports.ts'
import { newAnswer, note, openFollowUp } from './records-made.ts'
import { ringDue } from './ring-due.ts'

const DAY_MS = 86_400_000
/** A visit stays the subject of replies for a while after it began. */
const STILL_ABOUT_MS = DAY_MS / 2

/** One visit a reply may be about, with the people around it. */
interface Talk {
  booking: Booking
  patient: Patient
  clinic: Clinic
}

/** Everything known when a text comes in. */
interface Hearing {
  reply: ReplyRecord
  patients: Patient[]
  talks: Talk[]
  asked: NonNullable<Thread['asked']> | null
  /** Bookings with an offer that waits for a number, with its instants. */
  offers: { bookingId: string; instants: Date[] }[]
}

/** Hears one text: reads it, does what follows, answers. The same text delivered twice is heard once. */
export async function hearReply(deps: Deps, heard: Heard): Promise<void> {
  await deps.store.transact((tx) => hear(tx, deps, heard))
  await ringDue(deps)
}

async function hear(tx: Tx, deps: Deps, heard: Heard): Promise<void> {
  const reply: ReplyRecord = {
    id: deps.newId('t'),
    gateway: heard.gateway,
    key: heard.key,
    phone: heard.from,
    text: heard.text,
    receivedAt: heard.at,
    bookingId: null,
    reading: null,
    done: null,
  }
  if (!(await tx.replies.insert(reply))) return
  const hearing = await gather(tx, deps, reply)
  reply.reading = readIt(deps, hearing)
  const done = await respond(tx, deps, hearing, reply.reading)
  await tx.replies.update({ ...reply, ...done })
  deps.notice('reply-heard', { reply: reply.id, ...(done.bookingId && { booking: done.bookingId }) })
}

async function gather(tx: Tx, deps: Deps, reply: ReplyRecord): Promise<Hearing> {
  const patients = await tx.patients.byPhone(reply.phone)
  const from = new Date(deps.clock.now().getTime() - STILL_ABOUT_MS)
  const patientIds = patients.map(({ id }) => id)
  const visits = patients.length === 0 ? [] : await tx.bookings.list({ patientIds, from, state: 'booked', limit: 20 })
  const talks: Talk[] = []
  const offers: Hearing['offers'] = []
  for (const { id, patientId, clinicId } of visits) {
    // Locked, so that the desk cannot move the visit between what is read here and what is done about it.
    const booking = (await tx.bookings.lock(id))!
    talks.push({ booking, patient: patients.find((each) => each.id === patientId)!, clinic: (await tx.clinics.get(clinicId))! })
    const offer = await tx.offers.pending(id)
    if (offer?.state === 'open') offers.push({ bookingId: id, instants: offer.choices.map(({ at }) => at) })
  }
  const asked = (await tx.replies.thread(reply.phone))?.asked ?? null
  return { reply, patients, talks, asked, offers }
}

function readIt(deps: Deps, { reply, patients, talks, asked, offers }: Hearing): Reading {
  const [talk] = talks
  const offered = asked
    ? asked.bookingIds.map((id) => talks.find(({ booking }) => booking.id === id)?.booking.visitAt).filter((at) => at !== undefined)
    : (offers[0]?.instants ?? [])
  const reading = deps.readReply(reply.text, {
    language: patients[0]?.language ?? 'en',
    receivedAt: reply.receivedAt,
    zone: talk?.booking.zone ?? talk?.clinic.zone ?? 'UTC',
    ...(talk && { visit: talk.booking.visitAt }),
    choices: asked ? asked.bookingIds.length : offered.length,
    offered,
  })
  const threshold = talk?.clinic.settings.minConfidence ?? 0
  return reading.confidence < threshold && !isAboutTheNumber(reading.meaning) ? { ...reading, meaning: 'unclear' } : reading
}

type Done = { bookingId: string | null; done: string }

async function respond(tx: Tx, deps: Deps, hearing: Hearing, reading: Reading): Promise<Done> {
  if (isAboutTheNumber(reading.meaning)) return forNumber(tx, deps, hearing, reading)
  if (hearing.talks.length === 0) return withoutVisit(tx, deps, hearing)
  const chosen = whichVisit(deps, hearing, reading)
  if (chosen === 'ask') return askWhich(tx, deps, hearing, reading)
  await tx.replies.putThread({ phone: hearing.reply.phone, asked: null })
  return forVisit(tx, deps, hearing, chosen.talk, chosen.reading)
}

/** Which visit a reply is about: never guessed. */
function whichVisit(deps: Deps, { talks, asked, offers }: Hearing, reading: Reading): { talk: Talk; reading: Reading } | 'ask' {
  const byId = (id: string | undefined) => talks.find(({ booking }) => booking.id === id)
  if (asked && reading.meaning === 'choice') {
    const talk = byId(asked.bookingIds[reading.choice! - 1])
    if (talk) return { talk, reading: asked.reading }
  }
  if (talks.length === 1) return { talk: talks[0]!, reading }
  const offered = offers.length === 1 ? byId(offers[0]!.bookingId) : undefined
  if (reading.meaning === 'choice' && offered) return { talk: offered, reading }
  const touched = touchedVisits(deps, talks, reading)
  return touched.length === 1 ? { talk: touched[0]!, reading } : 'ask'
}

/** News of one patient's period concerns all her visits; only those it spoils need an answer of their own. */
function touchedVisits(deps: Deps, talks: Talk[], reading: Reading): Talk[] {
  const onePatient = new Set(talks.map(({ patient }) => patient.id)).size === 1
  if (!onePatient || reading.meaning !== 'period-started') return talks
  const spoilt = talks.filter((talk) => decide(deps, talk, reading, false).some((effect) => effect.do === 'offer'))
  return spoilt.length === 0 ? talks.slice(0, 1) : spoilt
}

function decide(deps: Deps, { booking, patient, clinic }: Talk, reading: Reading, offerOpen: boolean): Effect[] {
  const { answers } = protocolOf(deps, booking.protocol)
  return decideForVisit({
    reading,
    history: patient.cycle,
    today: dateIn(deps.clock.now(), booking.zone),
    offerOpen,
    lapsePolicy: clinic.settings.lapsePolicy,
    topics: Object.keys(answers).filter((topic) => answers[topic]?.[patient.language]),
    keeps: (history: CycleHistory) => judgeBooking(deps, booking, history).keep,
  })
}

async function forNumber(tx: Tx, deps: Deps, hearing: Hearing, reading: Reading): Promise<Done> {
  const { reply, patients, talks } = hearing
  const effects = decideForNumber(reading)
  const talk = talks[0]
  for (const effect of effects) {
    if (effect.do === 'opt-out') await optOut(tx, deps, hearing)
    if (effect.do === 'opt-in') await optIn(tx, deps, hearing)
    if (effect.do === 'say') await sayToNumber(tx, deps, hearing, effect.kind)
    if (effect.do === 'follow-up') {
      const about = { clinic: talk?.clinic ?? null, patient: talk?.patient ?? patients[0] ?? null, booking: talk?.booking ?? null }
      await openFollowUp(tx, deps, { ...about, phone: reply.phone }, effect.reason, { words: reply.text })
    }
  }
  return { bookingId: talk?.booking.id ?? null, done: effects[0]?.do === 'say' ? effects[0].kind : reading.meaning }
}

/** Everything ends at once, also what is already queued; her openings go back. */
async function optOut(tx: Tx, deps: Deps, { reply, talks }: Hearing): Promise<void> {
  await tx.optOuts.add(reply.phone, deps.clock.now())
  await tx.messages.withdrawUnsent({ phone: reply.phone }, 'opted-out', deps.clock.now())
  for (const { booking } of talks) {
    await overtake(tx, booking.id)
    await note(tx, deps, booking.id, 'opted-out', 'patient')
  }
  deps.notice('opted-out', { reply: reply.id })
}

/** Writing START is consent, in her own words. */
async function optIn(tx: Tx, deps: Deps, { reply, patients, talks }: Hearing): Promise<void> {
  await tx.optOuts.remove(reply.phone)
  const consent = { channel: 'sms', recordedBy: 'patient', recordedAt: reply.receivedAt, wording: reply.text.slice(0, 100) } as const
  for (const { id } of patients) await tx.patients.addConsent(id, consent)
  for (const talk of talks) await makePlan(tx, deps, { ...talk, confirm: false })
}

async function sayToNumber(tx: Tx, deps: Deps, hearing: Hearing, kind: TextKind): Promise<void> {
  const patient = hearing.talks[0]?.patient ?? hearing.patients[0]
  const clinic = hearing.talks[0]?.clinic ?? (await tx.clinics.list())[0]
  if (patient && clinic) await answer(tx, deps, hearing, { patient, clinic, booking: hearing.talks[0]?.booking ?? null }, kind)
}

/** Answers at most so many times a day: two machines must not talk to each other for ever. */
async function answer(
  tx: Tx,
  deps: Deps,
  hearing: Hearing,
  about: { booking: Booking | null; patient: Patient; clinic: Clinic },
  kind: TextKind,
  facts: Parameters<typeof newAnswer>[3] = {},
): Promise<void> {
  if (await talkedEnough(tx, deps, hearing)) return
  await tx.messages.insert([newAnswer(deps, about, kind, facts)])
}

async function talkedEnough(tx: Tx, deps: Deps, { reply }: Hearing): Promise<boolean> {
  const since = new Date(deps.clock.now().getTime() - DAY_MS)
  const answers = (await tx.messages.toPhone(reply.phone, since)).filter(({ revision }) => revision === null)
  return answers.length >= deps.policy.answersADay
}

/** A text that is about no visit we know of: a person reads it. Only a known patient is answered. */
async function withoutVisit(tx: Tx, deps: Deps, hearing: Hearing): Promise<Done> {
  const { reply, patients } = hearing
  const [patient] = patients
  const reason = patient ? 'unclear-reply' : 'unknown-sender'
  await openFollowUp(tx, deps, { clinic: null, patient: patient ?? null, booking: null, phone: reply.phone }, reason, { words: reply.text })
  await sayToNumber(tx, deps, hearing, 'unclear')
  return { bookingId: null, done: reason }
}

async function askWhich(tx: Tx, deps: Deps, hearing: Hearing, reading: Reading): Promise<Done> {
  const { reply, talks } = hearing
  const choices = talks.slice(0, MOST_CHOICES)
  const { patient, clinic } = choices[0]!
  const tooMany = talks.length > MOST_CHOICES || (await talkedEnough(tx, deps, hearing))
  if (tooMany) {
    await openFollowUp(tx, deps, { clinic, patient, booking: null, phone: reply.phone }, 'unclear-reply', { words: reply.text })
    return { bookingId: null, done: 'unclear' }
  }
  const asked = { bookingIds: choices.map(({ booking }) => booking.id), reading, replyId: reply.id, at: deps.clock.now().toISOString() }
  await tx.replies.putThread({ phone: reply.phone, asked })
  await answer(tx, deps, hearing, { patient, clinic, booking: null }, 'which-visit', { choices: choices.map(({ booking }) => booking.visitAt) })
  return { bookingId: null, done: 'asked-which' }
}

async function forVisit(tx: Tx, deps: Deps, hearing: Hearing, talk: Talk, reading: Reading): Promise<Done> {
  const offerOpen = hearing.offers.some(({ bookingId }) => bookingId === talk.booking.id)
  const about: Talk = { ...talk }
  let done: string = reading.meaning
  for (const effect of decide(deps, talk, reading, offerOpen)) done = (await carryOut(tx, deps, hearing, about, effect, reading)) ?? done
  if (reading.language) await openFollowUp(tx, deps, about, 'other-language', { language: reading.language })
  await note(tx, deps, talk.booking.id, 'reply', 'patient', { reply: hearing.reply.id, meaning: reading.meaning, done })
  return { bookingId: talk.booking.id, done }
}

/** Does one effect; what it changes is seen by the next. @returns a word for what was done, where it says more than the meaning. */
async function carryOut(tx: Tx, deps: Deps, hearing: Hearing, about: Talk, effect: Effect, reading: Reading): Promise<string | undefined> {
  switch (effect.do) {
    case 'learn':
      return learn(tx, deps, hearing, about, effect.history)
    case 'say':
      return say(tx, deps, hearing, about, effect)
    case 'follow-up':
      return void (await openFollowUp(tx, deps, about, effect.reason, { words: hearing.reply.text, meaning: reading.meaning, ...effect.detail }))
    case 'confirm':
      return confirm(tx, deps, about)
    case 'note-lapse':
      about.booking = { ...about.booking, lapses: [...about.booking.lapses, hearing.reply.text.slice(0, 300)] }
      return void (await tx.bookings.update(about.booking))
    case 'decline-offer':
      return void (await overtake(tx, about.booking.id))
    case 'offer':
      return offerOpenings(tx, deps, about, effect.reason)
    case 'accept':
      return accept(tx, deps, about, effect.choice)
    default:
      return undefined
  }
}

/** Her cycle is hers: every visit of hers is planned anew with it. */
async function learn(tx: Tx, deps: Deps, { talks }: Hearing, about: Talk, cycle: CycleHistory): Promise<undefined> {
  about.patient = { ...about.patient, cycle }
  await tx.patients.update(about.patient)
  for (const talk of talks.filter(({ patient }) => patient.id === about.patient.id)) {
    const { booking } = await makePlan(tx, deps, { ...talk, patient: about.patient })
    if (booking.id === about.booking.id) about.booking = booking
  }
  // A visit that may stay makes an older offer pointless; one that may not gets a new one.
  await overtake(tx, about.booking.id)
}

async function say(tx: Tx, deps: Deps, hearing: Hearing, about: Talk, { kind, topic }: Extract<Effect, { do: 'say' }>): Promise<string> {
  const sentence = topic && protocolOf(deps, about.booking.protocol).answers[topic]?.[about.patient.language]?.sentence
  await answer(tx, deps, hearing, about, kind, sentence ? { answer: sentence } : {})
  return kind
}

async function confirm(tx: Tx, deps: Deps, about: Talk): Promise<string> {
  about.booking = { ...about.booking, confirmedAt: deps.clock.now() }
  await tx.bookings.update(about.booking)
  return 'confirm'
}

async function accept(tx: Tx, deps: Deps, about: Talk, choice: number): Promise<string> {
  const outcome = await acceptChoice(tx, deps, about, choice)
  // Somebody was quicker, or the hold ran out: offer what there is now.
  return outcome === 'gone' ? offerOpenings(tx, deps, about, 'no-opening') : outcome
}
