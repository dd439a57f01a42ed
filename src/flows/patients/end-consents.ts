import { DateTime } from 'luxon'
import type { Channel } from '../../domain/messages/texts/kinds.ts'
import { whyNoConsent } from '../../domain/patients/consent.ts'
import type { CalendarDate } from '../../domain/preparation/cycle/history.ts'
import { followPatient } from './follow-patient.ts'
import type { Deps } from '../ports/deps.ts'

/** The last place on earth where a day ends: the zone that a patient lives by is sealed. */
const LAST_ZONE = 'Etc/GMT+12'
/** Longer ago than this nothing waits any more that was planned within the consent. */
const LATELY_DAYS = 30
const AT_ONCE = 200

/**
 * Consent has ended while messages were waiting: none of them goes (see `refusalOf`), and the visits stand on the call
 * list at once, not only when each message comes due.
 */
export async function endConsents(deps: Deps): Promise<void> {
  const day = DateTime.fromJSDate(deps.clock.now(), { zone: LAST_ZONE })
  const [today, since] = [day.toISODate()!, day.minus({ days: LATELY_DAYS }).toISODate()!]
  for (let after: string | undefined = ''; after !== undefined;) {
    const some = await deps.store.read.patients.consentOver(today, since, after, AT_ONCE)
    for (const { id, channels } of some)
      if (await hasEnded(deps, id, channels, today)) await deps.store.transact((tx) => followPatient(tx, deps, id))
    after = some.length < AT_ONCE ? undefined : some.at(-1)!.id
  }
}

/** Whoever reads the messages now may have agreed to more than somebody who read them before. */
async function hasEnded(
  { store: { read } }: Deps,
  id: string,
  channels: readonly Channel[],
  today: CalendarDate,
): Promise<boolean> {
  const [patient, consents] = await Promise.all([read.patients.get(id), read.patients.consents(id)])
  return patient !== undefined && channels.some((channel) => whyNoConsent(patient, consents, channel, today) !== null)
}
