import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'
import type { Reading, ReplyContext } from '../../src/domain/replies/reading.ts'

const vocabulary = loadVocabulary()

/** Reads a text that came in on Wednesday 2026-03-18 at 14:00 in Halifax, in English, with nothing asked or offered. */
export function read(text: string, more: Partial<ReplyContext> = {}): Reading {
  const receivedAt = new Date(Date.UTC(2026, 2, 18, 17))
  return readReply(text, { language: 'en', receivedAt, zone: 'America/Halifax', choices: 0, ...more }, vocabulary)
}

/** Instants of openings on offer, in order. */
export function openings(...instants: string[]): { choices: number; offered: Date[] } {
  return { choices: instants.length, offered: instants.map((instant) => new Date(instant)) }
}
