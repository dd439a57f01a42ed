import { DateTime } from 'luxon'
import { toE164 } from '../src/domain/patients/phone.ts'
import type { Clinic } from '../src/domain/region/clinic.ts'
import { USUAL_SETTINGS } from '../src/flows/region/first-clinic.ts'

/**
 * The invented Skerry Isles health region: three clinics and their patients. Nobody and nothing here is real; all
 * telephone numbers are of the range reserved for fiction (NANPA 555-0100 to 555-0199 of an area code).
 */
export const ZONE = 'America/Halifax'
export const STORY_DAYS = 28
export const LANGUAGES = ['en', 'fr', 'es', 'uk', 'pa'] as const

const settings = { ...USUAL_SETTINGS, emergency: '911', address: '4 Slipway Lane', directions: 'Beside the ferry.' }

export const CLINICS: Clinic[] = [
  { id: 'tidewrack', name: 'Tidewrack Clinic', phone: '+17825550190', zone: ZONE, country: 'CA', settings },
  { id: 'northskerry', name: 'North Skerry Clinic', phone: '+17825550191', zone: ZONE, country: 'CA', settings },
  {
    id: 'gullholm',
    name: 'Gullholm Health Post',
    phone: '+17825550192',
    zone: ZONE,
    country: 'CA',
    settings: { ...settings, movePolicy: 'desk-approves' },
  },
]

const FIRST = [
  'Marit',
  'Tova',
  'Isaura',
  'Brenna',
  'Odile',
  'Sunniva',
  'Halyna',
  'Jasleen',
  'Corisande',
  'Ingeborg',
  'Perpetua',
  'Yvaine',
]
const LAST = [
  'Quillon',
  'Brandle',
  'Skerrow',
  'Tarnley',
  'Ashquay',
  'Fennick',
  'Orrisdal',
  'Wrackham',
  'Lanterby',
  'Marrowin',
  'Sandholt',
  'Ternes',
  'Vossick',
  'Halliard',
]

export interface DemoPatient {
  name: string
  /** As it is told to the desk, and as the network knows it (E.164). */
  phone: string
  number: string
  language: string
  clinic: string
  /** Days between the first days of the periods: as told, and as they will really turn out. */
  usualCycleDays: number
  trueCycleDays: number
  /** How the patient is with the patient's phone, 0..1. */
  answers: number
}

/** Somebody of the ordinary traffic of the four weeks, all in days of the story. */
export interface StoryPatient extends DemoPatient {
  /** Cycle day on the first day of the story. */
  startsOnCycleDay: number
  /** Working day on which the visit is booked, and for which. */
  bookedOnDay: number
  visitOnDay: number
}

/** The first three have a part in the story; the rest are the region's ordinary traffic. */
export function storyPatients(random: () => number, language: string): StoryPatient[] {
  return Array.from({ length: 60 }, (_, index) => {
    const somebody = patient({ index, area: 782, offset: 0, random, language })
    // One in four is booked towards the end, so that visits lie ahead when the story is over and a person plays on.
    const bookedOnDay = Math.floor(random() * 10) + (index > 2 && index % 4 === 0 ? 16 : 0)
    const startsOnCycleDay = 1 + Math.floor(random() * 20)
    return { ...somebody, startsOnCycleDay, bookedOnDay, visitOnDay: bookedOnDay + 5 + Math.floor(random() * 10) }
  })
}

/** Everybody else in the region. */
export function neighbours(random: () => number, language: string): DemoPatient[] {
  return Array.from({ length: 100 }, (_, index) => patient({ index, area: 902, offset: 60, random, language }))
}

interface Recipe {
  index: number
  area: number
  /** Of the names. */
  offset: number
  random: () => number
  language: string
}

function patient({ index, area, offset, random, language }: Recipe): DemoPatient {
  const usualCycleDays = 26 + Math.floor(random() * 6)
  const phone = `${area}-555-01${String(index).padStart(2, '0')}`
  const named = index + offset
  return {
    name: `${FIRST[named % FIRST.length]!} ${LAST[Math.floor(named / FIRST.length)]!}`,
    phone,
    number: toE164(phone, 'CA'),
    language: languageOf(index, language),
    clinic: CLINICS[index % 3]!.id,
    usualCycleDays,
    trueCycleDays: usualCycleDays + Math.round((random() + random() + random() - 1.5) * 4),
    answers: random(),
  }
}

/** Mostly one language, as the region is. */
function languageOf(index: number, mostly: string): string {
  if (index < 10) return mostly
  return LANGUAGES[index % 10] ?? mostly
}

/** The morning of the working day that is today, or comes next: a little after the desk has opened. */
export function morningOf(now: Date): DateTime {
  const today = DateTime.fromJSDate(now, { zone: ZONE }).set({ hour: 9, minute: 40, second: 0, millisecond: 0 })
  return workday(today)
}

/** That day, or the next one on which clinics work. */
export function workday(day: DateTime): DateTime {
  return day.weekday > 5 ? day.plus({ days: 8 - day.weekday }) : day
}

/** A small repeatable source of chance (mulberry32), so that the demo tells the same story every time. */
export function chance(seed: number): () => number {
  let state = seed
  return () => {
    state = (state + 0x6d2b79f5) | 0
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state)
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32
  }
}
