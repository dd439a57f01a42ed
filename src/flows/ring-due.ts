import type { Message } from '../domain/message.ts'
import type { Alarm, Deps } from './ports.ts'

/** Messages put in the queue at a time. */
const BATCH = 500

/** Sets the alarm for every planned message due within the horizon. The database says what is due; the queue only rings. */
export async function ringDue(deps: Deps): Promise<number> {
  const until = new Date(deps.clock.now().getTime() + deps.policy.horizonHours * 3_600_000)
  let count = 0
  for (;;) {
    const due = await deps.store.read.messages.enqueueDue(until, BATCH)
    await deps.queue.set(due.map(alarmOf))
    count += due.length
    if (due.length < BATCH) return count
  }
}

export function alarmOf({ id, revision, attempt, sendAt }: Message): Alarm {
  return { messageId: id, revision, attempt, at: sendAt }
}
