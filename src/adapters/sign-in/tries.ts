import { mustWait, oneMore, type TryKind } from '../../domain/access/lockout.ts'
import { byNobody } from '../../flows/access/audit.ts'
import type { AccessRecords } from '../../flows/ports/access.ts'
import type { AccessDeps } from './people.ts'

/** Who tries to sign in: a name as it is spelled here, whether anybody has it or not, and from where. */
export interface Trier {
  login: string
  address: string
}

const WHOSE: Record<TryKind, (who: Trier) => string> = {
  here: ({ login, address }) => `${login} from ${address}`,
  anywhere: ({ login }) => `${login} from anywhere`,
  codes: ({ login }) => `codes of ${login}`,
}

function printOf(tx: AccessRecords, kind: TryKind, who: Trier): string {
  return tx.tries.printOf(WHOSE[kind](who))
}

/**
 * A try counts before it is checked, so that many at once are still counted one by one; and a name that nobody has
 * costs the same as any other. @returns whether it may be made
 */
export function countTry(deps: AccessDeps, who: Trier): Promise<boolean> {
  return countAs(deps, who, ['here', 'anywhere'])
}

/** One more code after the right password. @returns whether it may be tried */
export function countCode(deps: AccessDeps, who: Trier): Promise<boolean> {
  return countAs(deps, who, ['codes'])
}

async function countAs({ access, clock }: AccessDeps, who: Trier, kinds: readonly TryKind[]): Promise<boolean> {
  return access.transact(async (tx) => {
    const now = clock.now()
    const prints = kinds.map((kind) => printOf(tx, kind, who))
    const tried = await tx.tries.lock(prints, now)
    const mayTry = !tried.some((each) => mustWait(each, now))
    for (const [at, kind] of kinds.entries())
      await tx.tries.put(prints[at]!, mayTry ? oneMore(tried[at]!, kind, now) : tried[at]!)
    return mayTry
  })
}

/** It was the right person: nothing counts any more that was tried here, or anywhere. */
export async function forgetTries(tx: AccessRecords, who: Trier): Promise<void> {
  await tx.tries.remove((['here', 'anywhere', 'codes'] as const).map((kind) => printOf(tx, kind, who)))
}

/** Puts a failure on record: by a print of the name, since what was typed may be a password. */
export async function recordFailure({ access, clock }: AccessDeps, who: Trier, waits: boolean): Promise<void> {
  await access.transact(async (tx) => {
    const facts = { name: tx.tries.printOf(`name ${who.login}`), address: who.address, waits }
    await tx.audit.append([byNobody(clock.now(), 'sign-in-failed', facts)])
  })
}
