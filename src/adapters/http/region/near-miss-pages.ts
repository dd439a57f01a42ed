import type { NearMiss } from '../../../domain/region/near-miss.ts'
import { badInput } from '../../../domain/failure.ts'
import type { Deps } from '../../../flows/ports/deps.ts'

const AT_ONCE = 200

/** A page of the record, and where the next one begins; null = there is none. */
export async function nearMissesBefore(
  { store }: Deps,
  { clinicId, cursor, limit }: { clinicId: string | undefined; cursor: string | undefined; limit: number },
): Promise<{ shown: NearMiss[]; next: string | null }> {
  const before = cursor === undefined ? undefined : readCursor(cursor)
  const found = await store.read.nearMisses.list({
    ...(clinicId !== undefined && { clinicId }),
    ...(before && { before }),
    limit: limit + 1,
  })
  const shown = found.slice(0, limit)
  const last = shown.at(-1)
  return { shown, next: found.length > limit && last ? `${last.happenedAt.getTime()}~${last.id}` : null }
}

/** All of a clinic's. */
export async function allNearMisses(deps: Deps, clinicId: string): Promise<NearMiss[]> {
  const all: NearMiss[] = []
  for (let cursor: string | null | undefined; cursor !== null;) {
    const { shown, next } = await nearMissesBefore(deps, { clinicId, cursor, limit: AT_ONCE })
    all.push(...shown)
    cursor = next
  }
  return all
}

/** @throws bad-input for what no page gave out */
function readCursor(written: string): { happenedAt: Date; id: string } {
  const [, at, id] = /^(\d{1,14})~(n_[\w-]{1,60})$/.exec(written) ?? badInput('before', 'This page does not exist.')
  return { happenedAt: new Date(Number(at)), id: id! }
}
