/**
 * The limits of FIGO System 1 for frequency, regularity and duration (Munro, Critchley, Fraser 2018, IJGO 143:393).
 * They name what is usual, so that the desk can be told why a forecast is wide; they diagnose nothing.
 */

/** How often periods come: 24 to 38 days is normal. */
export function frequencyOf(cycleDays: number): 'frequent' | 'normal' | 'infrequent' {
  if (cycleDays < 24) return 'frequent'
  return cycleDays <= 38 ? 'normal' : 'infrequent'
}

/** How long a period lasts: up to 8 days is normal. */
export function durationOf(bleedDays: number): 'normal' | 'prolonged' {
  return bleedDays <= 8 ? 'normal' : 'prolonged'
}

/**
 * Whether the shortest and longest cycle lie close enough: within 7 days at 26-41, 9 at 18-25 and 42-45 (limits by age:
 * value from memory), 9 when the age is not known.
 */
export function regularityOf(cycleDays: readonly number[], age?: number): 'regular' | 'irregular' {
  if (cycleDays.length < 2) return 'regular'
  const allowed = age !== undefined && age >= 26 && age <= 41 ? 7 : 9
  return Math.max(...cycleDays) - Math.min(...cycleDays) <= allowed ? 'regular' : 'irregular'
}
