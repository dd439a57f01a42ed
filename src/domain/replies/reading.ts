import type { CalendarDate } from '../cycle/history.ts'

/** Everything a reply can mean. */
export const MEANINGS = [
  'period-started',
  'not-started',
  'still-bleeding',
  'bleeding-ended',
  'confirm',
  'cannot-come',
  'choice',
  'stop',
  'help',
  'rejoin',
  'prep-question',
  'prep-lapse',
  'urgent',
  'wrong-person',
  'died',
  'thanks',
  'unclear',
] as const
export type Meaning = (typeof MEANINGS)[number]

/** What was known when the reply came in. */
export interface ReplyContext {
  /** Language stored for the patient, e.g. `en`. */
  language: string
  receivedAt: Date
  /** IANA zone of the patient: decides what "today" is. */
  zone: string
  /** The last thing she was asked is when her period started: then a date alone is the answer. */
  askedWhen?: boolean
  /** The visit the conversation is about, if any. */
  visit?: Date
  /** Openings on offer, 0 if none. */
  choices: number
  /** The instants on offer, in order, so that "the Tuesday one" can be read. */
  offered?: Date[]
}

export interface Reading {
  meaning: Meaning
  /** With `period-started`: its first day. With `bleeding-ended`: the day it ended. */
  startedOn?: CalendarDate
  endedOn?: CalendarDate
  /** With `choice`: 1, 2 or 3. */
  choice?: number
  /** 0..1. */
  confidence: number
  /** The words it relied on, as written. */
  words: string[]
  /** A second meaning in the same text, e.g. `cannot-come` beside `period-started`. */
  also?: Meaning[]
  /** With `prep-question`: the protocol's topic, e.g. `bath`. */
  topic?: string
  /** The language it was written in, where that could be told and differs from the stored one. */
  language?: string
}
