import type { CalendarDate } from '../preparation/cycle/history.ts'

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

/**
 * What the last thing said asked for: whether the period has started, the day it did, which of several visits is
 * meant, a choice among openings, whether the patient is coming; `either`: whether the period has started or the
 * patient cannot come.
 */
export const QUESTIONS = ['started', 'day', 'either', 'which-visit', 'which-time', 'coming'] as const
export type Question = (typeof QUESTIONS)[number]

/**
 * What a clinician is told, whatever the meaning: bleeding that is not only a start, use of prescribed medicine,
 * prescribed medicine that was stopped, a patient without a cervix or who is a man.
 */
export const CLINICAL = ['bleeding', 'stopped-medicine', 'prescribed', 'anatomy'] as const
export type Clinical = (typeof CLINICAL)[number]

/** What was known when the reply came in. */
export interface ReplyContext {
  /** Language stored for the patient, e.g. `en`. */
  language: string
  receivedAt: Date
  /** IANA zone of the patient: decides what "today" is. */
  zone: string
  /** What was asked last. A yes, a no or a day alone is its answer. */
  asked?: Question
  /** Our last texts to that number: what is quoted of them is not the patient's word. */
  said?: readonly string[]
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
  /** Further meanings of the same text, e.g. `cannot-come` beside `period-started`. */
  also?: Meaning[]
  /** For a clinician, today where it is bleeding. */
  clinical?: Clinical
  /** With `prep-question`: the protocol's topic, e.g. `bath`. */
  topic?: string
  /** The language it was written in, where that could be told and differs from the stored one. */
  language?: string
}
