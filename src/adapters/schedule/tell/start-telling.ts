import type { Config } from '../../../config.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { tellSchedules } from '../../../flows/schedule/tell-schedules.ts'
import { startRhythm } from '../../worker/rhythm.ts'
import { courier } from './courier.ts'

const EVERY_MS = 5_000

/** Tells keepers of schedules what is due, where any wants to be told. @returns how to stop; what is under way ends */
export function startTelling(
  deps: Deps,
  secret: Config['secret'],
  onError: (error: Error) => void,
): (() => Promise<void>) | undefined {
  if (![...deps.feeds.values()].some(({ tell }) => tell !== null)) return undefined
  const tellOne = courier(deps, secret)
  return startRhythm(EVERY_MS, () => tellSchedules(deps, tellOne), onError)
}
