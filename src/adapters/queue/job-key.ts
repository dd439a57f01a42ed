import type { Alarm } from '../../flows/ports/deps.ts'

/** Job id: message, plan revision and attempt, so that setting an alarm twice is harmless. */
export function alarmKey({ messageId, revision, attempt, again }: Alarm): string {
  return `${messageId}.${revision ?? 'answer'}.${attempt}${again ? '.again' : ''}`
}
