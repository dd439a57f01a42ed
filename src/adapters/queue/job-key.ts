import type { SendJob } from '../../flows/ports/jobs.ts'

/**
 * Job id: message, plan revision and attempt, so that enqueueing a job twice is harmless; and when it is due, where it
 * is enqueued again.
 */
export function jobKey({ messageId, revision, attempt, requeued: again, at }: SendJob): string {
  return `${messageId}.${revision ?? 'answer'}.${attempt}${again ? `.again-${at.getTime()}` : ''}`
}
