import { badInput } from '../failure.ts'
import type { Channel, Detail } from '../messages/texts/kinds.ts'
import type { Patient } from './patient.ts'
import { onlyWay, reachAtNewNumber, reaches, type Reach } from './reach.ts'
import { mayBeFull, receiverFrom, type ToldReceiver } from './receiver.ts'

/** What a booking or an amendment says of how the patient is reached; what it leaves out stays as it is known. */
export interface ToldReach {
  channel?: Channel | undefined
  detail?: Detail | undefined
  reach?: Reach | undefined
  /** Null: the patient reads the messages. */
  receiver?: ToldReceiver | null | undefined
}

export type HowReached = Pick<Patient, 'channel' | 'detail' | 'reach' | 'receiver'>

/**
 * How a patient is reached from now on.
 * @param before as known until now, at this number
 * @throws bad-input where the channel does not reach the patient, or the detail is more than was agreed to
 */
export function howReached(before: HowReached | undefined, told: ToldReach, now: Date): HowReached {
  const reach = told.reach ?? before?.reach ?? 'both'
  const receiver =
    told.receiver === undefined
      ? (before?.receiver ?? null)
      : told.receiver && receiverFrom(before?.receiver, told.receiver, now)
  if (told.channel !== undefined) refuseWrongWay(reach, told.channel)
  if (told.detail === 'full' && !mayBeFull({ receiver }))
    badInput(
      'patient.detail',
      'Somebody else receives the messages. Choose discreet, or record that full was agreed to.',
    )
  return { reach, receiver, channel: channelFor(before, told, reach), detail: detailFor(before, told, receiver) }
}

function refuseWrongWay(reach: Reach, channel: Channel): void {
  if (reach === 'neither' || reaches({ reach }, channel)) return
  if (channel === 'sms') badInput('patient.channel', 'A landline takes no texts. Choose calls, or correct the reach.')
  badInput('patient.channel', 'This patient does not hear calls. Choose texts, or correct the reach.')
}

function channelFor(before: HowReached | undefined, told: ToldReach, reach: Reach): Channel {
  return told.channel ?? onlyWay({ reach }) ?? before?.channel ?? 'sms'
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
