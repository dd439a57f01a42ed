/** `soft` where only heavy bleeding matters, so that such a day costs less; `hard`, as without it, elsewhere. */
export interface AvoidDays {
  first: number
  last: number
  strength?: 'hard' | 'soft'
}

/** When to collect a specimen kind: what planning and forecasting need of a protocol. */
export interface Protocol {
  id: string
  /** Hours before the visit in which the longest-lasting rule applies (48 for most). 0 = no preparation. */
  prepHours: number
  /** Cycle days on which the specimen should not be collected, inclusive; null = any day will do. */
  avoidDays: AvoidDays | null
  /** Best cycle day (day 1 = first day of the period): "two weeks after" = 15. */
  idealDay: number
  /** The window regarded as ideal, in cycle days, inclusive. */
  idealWindow: { first: number; last: number }
}

/** One thing to avoid, from `hours` before the visit until the visit. */
export interface AvoidRule {
  /** Rule id, e.g. `sex`; the languages have words for it. */
  what: string
  hours: number
  source: string
}

/**
 * How long to wait after an event. `days: null` = the clinic decides. Sources conflict, so this is for the site to set.
 */
export interface Deferral {
  after: string
  days: number | null
  source: string
  /** What other published sources say. */
  conflicts: string[]
}

/** How long a specimen keeps in its medium, from collection to processing: the site sets it. */
export interface StorageLimit {
  medium?: string | undefined
  keepsDays: number
  source: string
}

/** One line of the clinician's checklist for the day. */
export interface ChecklistItem {
  id: string
  text: string
  source: string
}

/** An answer to a preparation question that may be sent, because a reviewer approved the very words. */
export interface Answer {
  sentence: string
  readonly state: 'approved' | 'draft'
}

/** A whole protocol, as read from `templates/protocols`. */
export interface FullProtocol extends Protocol {
  version: number
  /** Changes with any change of content: what is planned but not yet sent by another digest is planned anew. */
  digest: string
  /** A file of the site adds it, or changes what comes with Daysix. */
  ofSite: boolean
  /** Date on which the protocol must be looked at again. */
  reviewBy: string
  /** How long such a visit lasts where neither it nor the clinic says otherwise. */
  visitMinutes: number
  /** The specimen kind in words, by language; English always present. */
  names: Record<string, string>
  /** Published source of each value, by field. */
  sources: Record<string, string>
  avoid: AvoidRule[]
  /** Topics that stay as they are, e.g. `prescribed-medicine`, `shower`. */
  fine: string[]
  /** How long a specimen keeps; null, as shipped, while the site has not said so. */
  vial: StorageLimit | null
  deferrals: Deferral[]
  checklist: ChecklistItem[]
  /** Approved answers: topic → language → answer. */
  answers: Record<string, Record<string, Answer>>
}
