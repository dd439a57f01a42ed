import { labelledLine, withoutNames } from '../../domain/replies/corrected-text.ts'
import type { Records, ReplyRecord } from '../ports/deps.ts'

const PAGE = 200

/**
 * What people read otherwise than Daysix did, as labelled texts without names, oldest first. They are the replies
 * themselves: what retention or an erasure has taken away is not among them.
 */
export async function correctedTexts(records: Records): Promise<string[]> {
  const lines: string[] = []
  let afterId = ''
  for (;;) {
    const replies = await records.replies.page(afterId, PAGE)
    for (const reply of replies) {
      const line = await lineOf(records, reply)
      if (line !== null) lines.push(line)
    }
    if (replies.length < PAGE) return lines
    afterId = replies.at(-1)!.id
  }
}

async function lineOf(records: Records, reply: ReplyRecord): Promise<string | null> {
  const { corrected, reading, text, phone, patientId, receivedAt } = reply
  if (!corrected || !reading || text.trim() === '') return null
  const patients = await records.patients.byPhone(phone)
  const writer = patientId === null ? undefined : await records.patients.get(patientId)
  const names = [...patients, ...(writer ? [writer] : [])].flatMap(({ name, receiver }) => [name, receiver?.name ?? ''])
  const language = reading.language ?? (writer ?? patients[0])?.language ?? 'en'
  return labelledLine({ language, reading, text: withoutNames(text, names), receivedAt })
}
