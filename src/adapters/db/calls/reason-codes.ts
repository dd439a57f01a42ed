import type { FollowUpReason } from '../../../domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import type { Vault } from '../../vault/vault.ts'

/** 72 bits tell a few dozen reasons apart. */
const LENGTH = 12

/** What stands in the column `reason`: a keyed hash, since some reasons tell of a patient's bleeding. */
export interface ReasonCodes {
  codeOf(reason: FollowUpReason): string
  /** Of what stands there; older versions wrote the reason itself. */
  reasonOf(stored: string): FollowUpReason
  /** Everything that may stand there for these reasons. */
  stored(reasons: readonly FollowUpReason[]): string[]
}

const known = new WeakMap<Vault, ReasonCodes>()

export function reasonCodes(vault: Vault): ReasonCodes {
  const codes = known.get(vault) ?? make(vault)
  known.set(vault, codes)
  return codes
}

function make(vault: Vault): ReasonCodes {
  const reasons = Object.keys(FOLLOW_UP_REASONS) as FollowUpReason[]
  const codes = new Map(reasons.map((reason) => [reason, vault.fingerprint(`reason ${reason}`).slice(0, LENGTH)]))
  const back = new Map([...codes].map(([reason, code]) => [code, reason]))
  return {
    codeOf: (reason) => codes.get(reason)!,
    reasonOf: (stored) => back.get(stored) ?? (stored as FollowUpReason),
    stored: (wanted) => wanted.flatMap((reason) => [codes.get(reason)!, reason]),
  }
}
