import { DateTime } from 'luxon'
import type { CalendarDate } from '../cycle/history.ts'
import type { Token } from './tokens.ts'

const WEEKDAYS = ['monday', 'tuesday', 'wednesday', 'thursday', 'friday', 'saturday', 'sunday']

/** The day a text speaks of, looking back from the receipt. */
export function findDay(tokens: Token[], received: DateTime): CalendarDate | undefined {
  const text = tokens.map((token) => token.word).join(' ')
  const night = received.hour < 4 ? 1 : 0
  if (/\b(last night|yesterday)\b/.test(text)) return day(received, 1)
  const ago = /\b(\d+) days? ago\b/.exec(text)
  if (ago) return day(received, Number(ago[1]))
  const cycleDay = /\bday (\d+)\b/.exec(text)
  if (cycleDay) return day(received, Number(cycleDay[1]) - 1)
  if (/\b(today|this morning|now)\b/.test(text)) return day(received, 0)
  if (/\btonight\b/.test(text)) return day(received, night)
  const weekday = WEEKDAYS.findIndex((name) => text.includes(name))
  return weekday < 0 ? undefined : day(received, (received.weekday - (weekday + 1) + 7) % 7)
}

function day(received: DateTime, back: number): CalendarDate {
  return received.minus({ days: back }).toISODate()!
}
