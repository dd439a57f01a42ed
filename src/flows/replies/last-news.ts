import type { Records, ReplyRecord } from '../ports/deps.ts'
import type { VisitContext } from '../visit-context.ts'
import type { Conversation } from './conversation.ts'

const WEEK_MS = 7 * 86_400_000

/**
 * The reply that last told something of this patient's period, if what it told still stands and nothing has been acted
 * on since; what is older a person takes back.
 */
export async function lastNews(
  records: Records,
  { reply }: Conversation,
  { patient }: VisitContext,
): Promise<ReplyRecord | null> {
  const since = new Date(reply.receivedAt.getTime() - WEEK_MS)
  const replies = await records.replies.fromPhone(reply.phone, since)
  const before = replies
    .filter(({ id, clinicId }) => id !== reply.id && clinicId === reply.clinicId)
    .sort((a, b) => a.receivedAt.getTime() - b.receivedAt.getTime())
  const last = before.findLast(({ did }) => did !== undefined && Object.keys(did).length > 0)
  const stands = JSON.stringify(last?.did?.cycle?.after) === JSON.stringify(patient.cycle)
  return last?.did?.cycle && stands ? last : null
}
