import type { ToldReach } from '../../../domain/patients/how-reached.ts'
import { CHANNELS } from '../../../domain/messages/texts/kinds.ts'
import { REACHES, type Reach } from '../../../domain/patients/reach.ts'
import { RELATIONS, type Relation } from '../../../domain/patients/receiver.ts'
import { spoken } from '../desk/words.ts'

/** How a patient is reached, as a form says it; what is empty stays as it is known. */
export interface ReachFields {
  channel: string
  detail: string
  reach: string
  /** An address; empty stays as it is known, a dash is none. */
  email: string
  /** One of `RELATIONS`, or `self`. */
  relation: string
  receiver: string
  /** `yes` when the patient agreed that the receiver reads the preparation. */
  open: string
}

const SELF = 'self'
/** Typed for an address that is not to be used any more. */
export const NO_ADDRESS = '-'
const REACH_WORDS: Record<Reach, string> = {
  both: 'By text and by call',
  'calls-only': 'Landline: calls only',
  'texts-only': 'Does not hear calls: texts only',
  neither: 'Neither: a person finds a way',
}

type Choices = [value: string, words: string][]

export const CHANNEL_CHOICES: Choices = [
  ['', 'As known, else text'],
  ['sms', 'Text'],
  ['voice', 'Call'],
  ['email', 'E-mail'],
]
export const DETAIL_CHOICES: Choices = [
  ['', 'As known or agreed'],
  ['full', 'Name the preparation'],
  ['discreet', 'Discreet: name neither test nor reason'],
]
export const REACH_CHOICES: Choices = [
  ['', 'As known'],
  ...REACHES.map((each): [string, string] => [each, REACH_WORDS[each]]),
]
export const RELATION_CHOICES: Choices = [
  ['', 'As known'],
  [SELF, 'The patient'],
  ...RELATIONS.map((each): [string, string] => [each, spoken(each)]),
]

const relationOf = (word: string): Relation | undefined => RELATIONS.find((each) => each === word)

/** Somebody else than the patient receives. */
export const isOther = (relation: string): boolean => relationOf(relation) !== undefined

/** The fields as a booking or an amendment tells them. */
export function toldReach({ channel, detail, reach, email, ...fields }: ReachFields): ToldReach {
  const known = { reach: REACHES.find((each) => each === reach), channel: CHANNELS.find((each) => each === channel) }
  return {
    ...(known.channel && { channel: known.channel }),
    ...(email !== '' && { email: email === NO_ADDRESS ? null : email }),
    ...((detail === 'full' || detail === 'discreet') && { detail }),
    ...(known.reach && { reach: known.reach }),
    ...toldReceiver(fields),
  }
}

function toldReceiver({ relation, receiver, open }: Pick<ReachFields, 'relation' | 'receiver' | 'open'>): ToldReach {
  if (relation === SELF) return { receiver: null }
  const known = relationOf(relation)
  return known ? { receiver: { relation: known, name: receiver.slice(0, 120), fullDetail: open === 'yes' } } : {}
}
