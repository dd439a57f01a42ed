/** One specimen kind with its preparation rules, as read from `templates/protocols`. */
export interface Protocol {
  id: string
  /** Hours before the visit in which the longest-lasting rule applies (48 for most). 0 = no preparation. */
  prepHours: number
  /** Cycle days on which the specimen should not be collected, inclusive; null = any day will do. */
  avoidDays: { first: number; last: number } | null
  /** Best cycle day (day 1 = first day of the period): "two weeks after" = 15. */
  idealDay: number
  /** The window regarded as ideal, in cycle days, inclusive. */
  idealWindow: { first: number; last: number }
}
