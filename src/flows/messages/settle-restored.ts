import type { Deps } from '../ports/deps.ts'
import { REGION, dropDue } from './stop-sending.ts'

/**
 * After a restore: whatever was due between the backup and now may have been sent by the service that was lost. It is
 * not sent again; what mattered goes on the call list.
 * @returns how many messages that were.
 */
export function settleRestored(deps: Deps): Promise<number> {
  // Not withdrawn: it may have gone before the end of what was lost.
  return dropDue(deps, REGION, { state: 'undelivered', code: 'restored' })
}
