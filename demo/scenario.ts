import { toE164 } from '../src/domain/patients/phone.ts'
import type { Clinic } from '../src/domain/region/clinic.ts'
import { USUAL_SETTINGS } from '../src/flows/region/first-clinic.ts'

/**
 * The invented Skerry Isles health region: three clinics and sixty patients. Nobody and nothing here is real; all
 * telephone numbers are of the range reserved for fiction (NANPA 555-0100 to 555-0199).
 */
export const ZONE = 'America/Halifax'

const settings = { ...USUAL_SETTINGS, emergency: '911' }

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
const LAST = ['Quillon', 'Brandle', 'Skerrow', 'Tarnley', 'Ashquay']

export interface DemoPatient {
  name: string
  /** As it is told to the desk, and as the network knows it (E.164). */
  phone: string
  number: string
  language: string
  clinic: string
  /** Days between the first days of the periods, as they will really turn out. */
  trueCycleDays: number
  usualCycleDays: number
  /** Cycle day on the first day of the story. */
  startsOnCycleDay: number
  /** Working day of the story on which the patient's visit is booked, and for which. */
  bookedOnDay: number
  visitOnDay: number
  /** How the patient is with the patient's phone, 0..1. */
  answers: number
}

/** The first three have a part in the story; the rest are the region's ordinary traffic. */
export function patients(random: () => number): DemoPatient[] {
  return Array.from({ length: 60 }, (_, index) => {
    const usualCycleDays = 26 + Math.floor(random() * 6)
    // One in four is booked towards the end, so that visits lie ahead when the story is over and a person plays on.
    const bookedOnDay = Math.floor(random() * 10) + (index > 2 && index % 4 === 0 ? 16 : 0)
    const phone = `782-555-01${String(index).padStart(2, '0')}`
    return {
      name: `${FIRST[index % FIRST.length]!} ${LAST[Math.floor(index / FIRST.length)]!}`,
      phone,
      number: toE164(phone, 'CA'),
      language: languageOf(index),
      clinic: CLINICS[index % 3]!.id,
      trueCycleDays: usualCycleDays + Math.round((random() + random() + random() - 1.5) * 4),
      usualCycleDays,
      startsOnCycleDay: 1 + Math.floor(random() * 20),
      bookedOnDay,
      visitOnDay: bookedOnDay + 5 + Math.floor(random() * 10),
      answers: random(),
    }
  })
}

/** Mostly English, as the region is. */
function languageOf(index: number): string {
  if (index < 10) return 'en'
  return ({ 1: 'fr', 2: 'es', 3: 'uk', 4: 'pa' } as Record<number, string>)[index % 10] ?? 'en'
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
