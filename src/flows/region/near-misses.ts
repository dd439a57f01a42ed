import { Failure, badInput } from '../../domain/failure.ts'
import { toInstant } from '../../domain/local-time.ts'
import { nearMissTimeFault, nearMissWordsFault, type NearMiss } from '../../domain/region/near-miss.ts'
import { orNotFound } from '../lookups.ts'
import type { Deps } from '../ports/deps.ts'

export interface ToldNearMiss extends Pick<NearMiss, 'kind' | 'reach' | 'words' | 'told' | 'by'> {
  clinic: string
  /** Local time of the clinic, or an instant with offset. */
  happened: string
}

/**
 * Keeps what went wrong or nearly did.
 * @throws bad-input (a time to come, words that name somebody), not-found
 */
export async function recordNearMiss(deps: Deps, { clinic: id, happened, ...told }: ToldNearMiss): Promise<NearMiss> {
  const clinic = orNotFound(await deps.store.read.clinics.get(id), 'clinic')
  const now = deps.clock.now()
  const happenedAt = toInstant(happened, clinic.zone, 'happened')
  refuse('happened', nearMissTimeFault(happenedAt, clinic.zone, now))
  if (told.words === '') badInput('words', 'Say what happened, without names.')
  refuse('words', nearMissWordsFault(told.words))
  refuse('told', nearMissWordsFault(told.told))
  const nearMiss = { ...told, id: deps.newId('n'), clinicId: id, happenedAt, recordedAt: now, review: null }
  await deps.store.transact((tx) => tx.nearMisses.insert(nearMiss))
  deps.notice('near-miss-recorded', { clinic: id, nearMiss: nearMiss.id })
  return nearMiss
}

/**
 * Keeps what was changed so that it does not happen again.
 * @throws bad-input, not-found, too-late (somebody has)
 */
export async function reviewNearMiss(
  deps: Deps,
  { id, change, by }: { id: string; change: string; by: string },
): Promise<void> {
  if (change === '') badInput('change', 'Say what was changed, or why nothing needs to be.')
  refuse('change', nearMissWordsFault(change))
  await deps.store.transact(async (tx) => {
    orNotFound(await tx.nearMisses.get(id), 'record')
    if (!(await tx.nearMisses.review(id, { change, by, at: deps.clock.now() })))
      throw new Failure('too-late', { message: 'Somebody has written what was changed. Read it again.' })
  })
  deps.notice('near-miss-reviewed', { nearMiss: id })
}

function refuse(field: string, fault: string | null): void {
  if (fault !== null) badInput(field, fault)
}
