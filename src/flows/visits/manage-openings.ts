import type { Slot } from '../../domain/visits/slot.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import { toInstant } from '../../domain/local-time.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps, SlotQuery } from '../ports/deps.ts'

export interface NewOpenings {
  clinic: string
  clinician?: string | undefined
  /** Local times at the clinic, or instants with offset. */
  at: string[]
}

/** Adds openings. Times that exist already (free, held or taken) are left as they are and reported, not added twice. */
export async function addOpenings(deps: Deps, { clinic: clinicId, clinician = '', at }: NewOpenings): Promise<{ added: Slot[]; existed: string[] }> {
  const clinic = orNotFound(await deps.store.read.clinics.get(clinicId), 'clinic')
  const slots = at.map((written, index) => slotAt(deps, { clinicId, clinician, startsAt: toInstant(written, clinic.zone, `at.${index}`) }, index))
  return deps.store.transact(async (tx) => {
    const added: Slot[] = []
    const existed: string[] = []
    for (const [index, slot] of slots.entries()) {
      if (await tx.slots.add(slot)) added.push(slot)
      else existed.push(at[index]!)
    }
    return { added, existed }
  })
}

function slotAt(deps: Deps, slot: Pick<Slot, 'clinicId' | 'clinician' | 'startsAt'>, index: number): Slot {
  if (slot.startsAt <= deps.clock.now()) badInput(`at.${index}`, 'This time is past. Give a time to come.')
  return { ...slot, id: deps.newId('o'), state: 'free', bookingId: null, heldUntil: null }
}

/** Free and held openings, in order of time. A hold whose time is up counts as free. */
export async function listOpenings(deps: Deps, query: Omit<SlotQuery, 'states' | 'from'> & { from?: Date }): Promise<Slot[]> {
  const now = deps.clock.now()
  const slots = await deps.store.read.slots.list({ ...query, from: query.from ?? now, states: ['free', 'held'] })
  return slots.map((slot) => (slot.heldUntil && slot.heldUntil <= now ? { ...slot, state: 'free', bookingId: null, heldUntil: null } : slot))
}

/** Removes a free opening. @throws too-late when it is held, taken or gone */
export async function removeOpening(deps: Deps, id: string): Promise<void> {
  const removed = await deps.store.transact((tx) => tx.slots.remove(id, deps.clock.now()))
  if (!removed) throw new Failure('too-late', { message: 'This opening is held, taken, or gone already.' })
}
