import { entriesOf, notOnCards, toListTogether } from '../../../domain/calls/alike.ts'
import type { FollowUpReason } from '../../../domain/calls/follow-up.ts'
import type { Records } from '../../../flows/ports/records.ts'

/** How much a clinic has to call for. */
export interface OpenCalls {
  /** Open follow-ups by reason. */
  counts: ReadonlyMap<FollowUpReason, number>
  /** The reasons that are one list each. */
  together: FollowUpReason[]
  /** Patients with a card of their own. */
  cards: number
  /** Cards and lists: what is still to be done. */
  entries: number
  alarms: number
}

export async function openCalls({ followUps }: Records, clinicId: string): Promise<OpenCalls> {
  const counts = await followUps.countOpen(clinicId)
  const together = toListTogether(counts)
  const cards = await followUps.countCards(clinicId, notOnCards(together))
  return { counts, together, cards, entries: entriesOf(cards, together), alarms: counts.get('alarm') ?? 0 }
}

export const NO_CALLS: OpenCalls = { counts: new Map(), together: [], cards: 0, entries: 0, alarms: 0 }
