import { isFree, opening, type Slot } from '../../domain/visits/slot.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import { toInstant } from '../../domain/local-time.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps, SlotQuery } from '../ports/deps.ts'

export interface NewOpenings {
  clinic: string
  clinician?: string | undefined
  /** Local times at the clinic, or instants with offset. */
  at: string[]
  /** How long each lasts; without it, as long as there is room. */
  minutes?: number | undefined
}

/** Adds openings. Times that exist already (free, held or taken) are left as they are and reported, not added twice. */
export async function addOpenings(
  deps: Deps,
  { clinic: clinicId, clinician = '', at, minutes }: NewOpenings,
): Promise<{ added: Slot[]; existed: string[] }> {
  const clinic = orNotFound(await deps.store.read.clinics.get(clinicId), 'clinic')
  const slots = at.map((written, index) =>
    slotAt(deps, { clinicId, clinician, startsAt: toInstant(written, clinic.zone, `at.${index}`) }, index, minutes),
  )
  return deps.store.transact(async (tx) => {
    const added = await tx.slots.add(slots)
    return {
      added: slots.filter(({ id }) => added.has(id)),
      existed: at.filter((_, index) => !added.has(slots[index]!.id)),
    }
  })
}

function slotAt(
  deps: Deps,
  time: Pick<Slot, 'clinicId' | 'clinician' | 'startsAt'>,
  index: number,
  minutes: number | null = null,
): Slot {
  if (time.startsAt <= deps.clock.now()) badInput(`at.${index}`, 'This time is past. Give a time to come.')
  return opening({ ...time, id: deps.newId('o') }, minutes)
}

/**
 * Free and held openings, in order of time. A hold whose time is up counts as free; a time at which the clinician is
 * busy with somebody who came before is none.
 */
export async function listOpenings(
  deps: Deps,
  query: Omit<SlotQuery, 'states' | 'from' | 'notBusy'> & { from?: Date },
): Promise<Slot[]> {
  const now = deps.clock.now()
  const wanted = { ...query, from: query.from ?? now, states: ['free', 'held'], notBusy: now } satisfies SlotQuery
  const slots = await deps.store.read.slots.list(wanted)
  return slots.map((slot) => (isFree(slot, now) ? opening(slot, slot.minutes) : slot))
}

/** Removes a free opening. @throws too-late when it is held, taken or gone */
export async function removeOpening(deps: Deps, id: string): Promise<void> {
  const removed = await deps.store.transact((tx) => tx.slots.remove(id, deps.clock.now()))
  if (!removed) throw new Failure('too-late', { message: 'This opening is held, taken, or gone already.' })
}
