import type { Channel } from '../messages/texts/kinds.ts'

/**
 * How a patient can be reached: `calls-only` is a landline, which takes no texts; `texts-only` is whoever is deaf or
 * hard of hearing, and does not hear a call; `neither` is both at once: a person finds another way.
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
}

/** Whether what goes by this channel reaches the patient. */
export const reaches = ({ reach = 'both' }: WayTo, channel: Channel): boolean => WAYS[reach].includes(channel)

/** The only channel that reaches the patient; undefined where there is a choice, or none. */
export function onlyWay({ reach = 'both' }: WayTo): Channel | undefined {
  return WAYS[reach].length === 1 ? WAYS[reach][0] : undefined
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
