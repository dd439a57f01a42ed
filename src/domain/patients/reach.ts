import type { Channel } from '../messages/texts/kinds.ts'

/**
 * How a patient can be reached at the number: `calls-only` is a landline, which takes no texts; `texts-only` is whoever
 * is deaf or hard of hearing, and does not hear a call; `neither` is both at once: a person finds another way.
 */
export const REACHES = ['both', 'calls-only', 'texts-only', 'neither'] as const
export type Reach = (typeof REACHES)[number]

const WAYS: Record<Reach, readonly Channel[]> = {
  both: ['sms', 'voice'],
  'calls-only': ['voice'],
  'texts-only': ['sms'],
  neither: [],
}

/** What is known of the way to a patient; nothing known = both ways. */
interface WayTo {
  reach?: Reach
  email?: string | null
}

/** Whether what goes by this channel reaches the patient. */
export const reaches = ({ reach = 'both', email = null }: WayTo, channel: Channel): boolean =>
  channel === 'email' ? email !== null : WAYS[reach].includes(channel)

/**
 * The only channel to the number; where there is none, e-mail to whoever has given an address. Undefined where there is
 * a choice, or no way at all.
 */
export function onlyWay({ reach = 'both', email = null }: WayTo): Channel | undefined {
  const ways = WAYS[reach]
  if (ways.length === 0 && email !== null) return 'email'
  return ways.length === 1 ? ways[0] : undefined
}

/** Whether a call is heard: where it is not, the desk writes. */
export const hears = (patient: WayTo): boolean => reaches(patient, 'voice')

/**
 * What is still known once the number is another one. A landline is a fact of the number, and is asked for again;
 * whether somebody hears is a fact of the person, and stays.
 */
export function reachAtNewNumber({ reach = 'both' }: WayTo): Reach {
  return hears({ reach }) ? 'both' : 'texts-only'
}
