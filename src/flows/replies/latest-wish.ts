import type { Effect } from '../../domain/replies/decide.ts'
import type { Meaning } from '../../domain/replies/reading.ts'
import type { TextKind } from '../../domain/messages/texts/kinds.ts'
import type { ReplyRecord, Tx } from '../ports/deps.ts'

/** STOP and START: the last one written is what the patient wishes. */
const WISHES: ReadonlySet<Meaning> = new Set(['stop', 'rejoin'])
/** What is said to them. */
const SAID_TO_WISHES: ReadonlySet<TextKind> = new Set(['stopped', 'rejoined'])

/**
 * What still follows from a reply that is acted on late, after a crash or out of turn. Where the
 * number has written STOP or START since, an older one changes nothing; all else follows as ever.
 */
export async function withoutOldWish(
  tx: Tx,
  reply: ReplyRecord,
  effects: readonly Effect[],
): Promise<Effect[]> {
  const rest = effects.filter((effect) => !isOfWish(effect))
  if (rest.length === effects.length) return rest
  return (await hasNewerWish(tx, reply)) ? rest : [...effects]
}

function isOfWish(effect: Effect): boolean {
  if (effect.do === 'say') return SAID_TO_WISHES.has(effect.kind)
  return effect.do === 'opt-in' || (effect.do === 'opt-out' && effect.reason === 'stop')
}

async function hasNewerWish(tx: Tx, { id, phone, receivedAt }: ReplyRecord): Promise<boolean> {
  const since = await tx.replies.fromPhone(phone, receivedAt)
  const newer = since.slice(since.findIndex((each) => each.id === id) + 1)
  return newer.some(({ done, reading }) => done !== null && reading && WISHES.has(reading.meaning))
}
