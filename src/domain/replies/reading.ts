import type { CalendarDate } from '../preparation/cycle/history.ts'
import type { ReplyMeaning } from './reply-meaning.ts'
import { REPLY_MEANINGS } from './reply-meanings.ts'

export type Meaning = keyof typeof REPLY_MEANINGS

/** Everything a reply can mean. */
export const MEANINGS = Object.keys(REPLY_MEANINGS) as Meaning[]

/** The meanings of which so much is stated. */
export function meaningsWith(holds: (stated: ReplyMeaning) => boolean): Meaning[] {
  return MEANINGS.filter((meaning) => holds(REPLY_MEANINGS[meaning]))
}

type MeaningAbout<A> = {
  [meaning in Meaning]: (typeof REPLY_MEANINGS)[meaning]['about'] extends A ? meaning : never
}[Meaning]
export type NumberMeaning = MeaningAbout<'number'>
export type VisitMeaning = MeaningAbout<'visit'>

/** Whether a reply of this meaning concerns the number, whatever visits there are. */
export function isAboutTheNumber(meaning: Meaning): meaning is NumberMeaning {
  return REPLY_MEANINGS[meaning].about === 'number'
}

/**
 * What the last thing said asked for: whether the period has started, the day it did, which of several visits is
 * meant, a choice among openings, whether the patient is coming; `either`: whether the period has started or the
 * patient cannot come.
 */
export const QUESTIONS = ['started', 'day', 'either', 'which-visit', 'which-time', 'coming'] as const
export type Question = (typeof QUESTIONS)[number]

/**
 * What a clinician is told, whatever the meaning: bleeding that is not only a start, a pregnancy or a loss, a late
 * period, another symptom or what the patient wants to confide, prescribed medicine that was stopped, use of
 * prescribed medicine, a patient without a cervix or who is a man, an event after which some wait.
 */
export const CLINICAL = [
  'bleeding',
  'pregnancy',
  'late-period',
  'symptom',
  'stopped-medicine',
  'prescribed',
  'anatomy',
  'may-wait',
] as const
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
  /** For a clinician. */
  clinical?: Clinical
  /** With `urgent`: no emergency, a clinician calls today. Without it the patient is told to call now. */
  level?: 'today'
  /** With `unclear`: it speaks of blood or of a period, of which nothing could be made out. */
  ofBlood?: true
  /** The patient asks for something at the visit: a woman, an interpreter, a ramp. */
  needs?: true
  /** With `prep-question`: the protocol's topic, e.g. `bath`. */
  topic?: string
  /** What it was written in, where that could be told and is not the stored one; also `und-Arab`: other-language.ts. */
  language?: string
}
