import { badInput } from '../failure.ts'
import type { Channel, Detail } from '../messages/texts/kinds.ts'
import { toMailAddress } from './mail-address.ts'
import type { Patient } from './patient.ts'
import { onlyWay, reachAtNewNumber, reaches, type Reach } from './reach.ts'
import { mayBeFull, receiverFrom, type ToldReceiver } from './receiver.ts'

/** What a booking or an amendment says of how the patient is reached; what it leaves out stays as it is known. */
export interface ToldReach {
  channel?: Channel | undefined
  detail?: Detail | undefined
  reach?: Reach | undefined
  /** Null: the patient has none, or wants none used. */
  email?: string | null | undefined
  /** Null: the patient reads the messages. */
  receiver?: ToldReceiver | null | undefined
}

export type HowReached = Pick<Patient, 'channel' | 'detail' | 'reach' | 'email' | 'receiver'>

/**
 * How a patient is reached from now on.
 * @param before as known until now, at this number
 * @throws bad-input where the channel does not reach the patient, or the detail is more than was agreed to
 */
export function howReached(before: HowReached | undefined, told: ToldReach, now: Date): HowReached {
  const reach = told.reach ?? before?.reach ?? 'both'
  const email = emailFrom(before, told)
  const receiver =
    told.receiver === undefined
      ? (before?.receiver ?? null)
      : told.receiver && receiverFrom(before?.receiver, told.receiver, now)
  if (told.channel !== undefined) refuseWrongWay({ reach, email }, told.channel)
  if (told.detail === 'full' && !mayBeFull({ receiver }))
    badInput(
      'patient.detail',
      'Somebody else receives the messages. Choose discreet, or record that full was agreed to.',
    )
  const channel = channelFor(before, told, { reach, email })
  return { reach, email, receiver, channel, detail: detailFor(before, told, receiver) }
}

function emailFrom(before: HowReached | undefined, { email }: ToldReach): string | null {
  if (email === undefined) return before?.email ?? null
  return email === null || email.trim() === '' ? null : toMailAddress(email, 'patient.email')
}

interface Way {
  reach: Reach
  email: string | null
}

function refuseWrongWay(way: Way, channel: Channel): void {
  if (reaches(way, channel)) return
  if (channel === 'email') badInput('patient.email', 'Give the address that the patient wants e-mail at.')
  if (way.reach === 'neither') return
  if (channel === 'sms') badInput('patient.channel', 'A landline takes no texts. Choose calls, or correct the reach.')
  badInput('patient.channel', 'This patient does not hear calls. Choose texts, or correct the reach.')
}

function channelFor(before: HowReached | undefined, told: ToldReach, way: Way): Channel {
  const usual = before?.channel === 'email' && way.email === null ? undefined : before?.channel
  if (told.channel !== undefined || usual === 'email') return told.channel ?? 'email'
  return onlyWay(way) ?? usual ?? 'sms'
}

function detailFor(before: HowReached | undefined, told: ToldReach, receiver: HowReached['receiver']): Detail {
  if (!mayBeFull({ receiver: receiver ?? null })) return 'discreet'
  return told.detail ?? before?.detail ?? 'full'
}

/**
 * What is known of a patient whose number is another one from now on: what was known of the number goes, who the person
 * is and who receives stays.
 */
export function atNewNumber(patient: Patient, phone: string, now: Date): Patient {
  const reach = reachAtNewNumber(patient)
  return { ...patient, phone, reach, numberSince: now.toISOString(), handsDoubt: null, wrongPersonLifted: null }
}
