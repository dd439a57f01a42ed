import type { SendJob } from '../../flows/ports/jobs.ts'

/** Job id: message, plan revision and attempt, so that enqueueing a job twice is harmless. */
export function jobKey({ messageId, revision, attempt, requeued: again }: SendJob): string {
  return `${messageId}.${revision ?? 'answer'}.${attempt}${again ? '.again' : ''}`
}
