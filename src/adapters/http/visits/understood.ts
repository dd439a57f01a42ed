import { dateIn } from '../../../domain/local-time.ts'
import { toE164 } from '../../../domain/patients/phone.ts'
import type { PageContext } from '../desk/page-context.ts'
import { orderOf, readClock, readDate } from './typed-time.ts'

/** A number that can be called, or empty where it is none yet. */
export function phoneOf(typed: string, country: string): string {
  try {
    return toE164(typed, country)
  } catch {
    return ''
  }
}

/** On which side of today a date of the form lies. */
const DATES = { birth: 'past', lmp: 'past', date: 'to-come', due: 'to-come', until: 'to-come' } as const

type Typed = Record<keyof typeof DATES | 'time', string>

/** Dates and times as they were meant; what cannot be read stays as it was typed. */
export function understood<Fields extends Typed>(sheet: PageContext, fields: Fields): Fields {
  const today = dateIn(sheet.now, sheet.clinic.zone)
  const order = orderOf(sheet.clinic.country)
  const read = Object.entries(DATES).map(([name, side]) => {
    const typed = fields[name as keyof typeof DATES]
    return [name, readDate(typed, { today, order, side }) ?? typed]
  })
  return { ...fields, ...Object.fromEntries(read), time: readClock(fields.time) ?? fields.time }
}
