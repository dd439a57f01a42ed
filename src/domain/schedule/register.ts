/**
 * What is known of one thing, field by field, each with the news that told it last. Whatever was told later, by the
 * sender's own count or clock, wins; so the same news in any order, and any number of times, comes to the same.
 */
export type Registered<T> = { readonly [K in keyof T]?: { readonly value: T[K]; readonly by: Stamp } }

/** When something was told. */
export interface Stamp {
  /** The sender's own count of changes; null = none. */
  sequence: number | null
  /** Milliseconds since 1970, by the sender's clock; null = not told. */
  madeAt: number | null
  messageId: string
  /** In which order it came here: where the sender gives no other. */
  arrival: number
}

/**
 * Negative where `a` was told before `b`. Of one second the later id of a message counts, read as a number where both
 * are one: senders count their messages.
 */
export function compareStamps(a: Stamp, b: Stamp): number {
  if (a.sequence !== null && b.sequence !== null && a.sequence !== b.sequence) return a.sequence - b.sequence
  if (a.madeAt !== null && b.madeAt !== null && a.madeAt !== b.madeAt) return a.madeAt - b.madeAt
  if (a.madeAt !== null && b.madeAt !== null && a.messageId !== b.messageId) return compareIds(a.messageId, b.messageId)
  return a.arrival - b.arrival
}

const COUNT = /^\d{1,15}$/

function compareIds(a: string, b: string): number {
  if (COUNT.test(a) && COUNT.test(b) && Number(a) !== Number(b)) return Number(a) - Number(b)
  return a < b ? -1 : 1
}

/** With what was told; a field that was not told (undefined) stays as it is. */
export function tell<T extends object>(known: Registered<T>, told: Partial<T>, by: Stamp): Registered<T> {
  const next: { [K in keyof T]?: { value: T[K]; by: Stamp } } = { ...known }
  for (const field of Object.keys(told) as (keyof T)[]) {
    const value = told[field]
    const before = next[field]
    if (value !== undefined && (!before || compareStamps(before.by, by) <= 0)) next[field] = { value, by }
  }
  return next
}

/** The values alone. */
export function valuesOf<T extends object>(known: Registered<T>): Partial<T> {
  const values: Partial<T> = {}
  for (const field of Object.keys(known) as (keyof T)[]) values[field] = known[field]!.value
  return values
}
