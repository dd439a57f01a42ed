import type { Effect } from '../../domain/replies/effects.ts'
import { REPLY_MEANINGS } from '../../domain/replies/reply-meanings.ts'
import { MESSAGE_KINDS } from '../../domain/messages/texts/message-kinds.ts'
import type { ReplyRecord, Tx } from '../ports/deps.ts'

/**
 * What still follows from a reply that is acted on late, after a crash or out of turn. Where the
 * number has written STOP or START since, an older one changes nothing; all else follows as ever.
 */
export async function withoutOldWish(tx: Tx, reply: ReplyRecord, effects: readonly Effect[]): Promise<Effect[]> {
  const rest = effects.filter((effect) => !isOfWish(effect))
  if (rest.length === effects.length) return rest
  return (await hasNewerWish(tx, reply)) ? rest : [...effects]
}

function isOfWish(effect: Effect): boolean {
  if (effect.do === 'say') return MESSAGE_KINDS[effect.kind].keepsWish
  return effect.do === 'opt-in' || (effect.do === 'opt-out' && effect.reason === 'stop')
}

async function hasNewerWish(tx: Tx, { id, phone, receivedAt }: ReplyRecord): Promise<boolean> {
  const since = await tx.replies.fromPhone(phone, receivedAt)
  const newer = since.slice(since.findIndex((each) => each.id === id) + 1)
  return newer.some(({ done, reading }) => done !== null && reading && REPLY_MEANINGS[reading.meaning].lastCounts)
}
