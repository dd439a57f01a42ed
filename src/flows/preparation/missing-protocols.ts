import { dateIn } from '../../domain/local-time.ts'
import { Failure } from '../../domain/failure.ts'
import type { Deps } from '../ports/deps.ts'

/**
 * Refuses to start where visits to come need a protocol that is not there any more: nothing could be planned for them,
 * and no reply about them be acted on. Protocols are read at the start only, so what is there then stays.
 * @throws bad-config naming each protocol, how many visits need it, and the date of the next
 */
export async function refuseMissingProtocols({ store, protocols, clock }: Deps): Promise<void> {
  const needed = await store.read.bookings.needingOther([...protocols.keys()], clock.now())
  if (needed.length === 0) return
  const faults = needed.map(({ protocol, visits, next, zone }) => ({
    field: protocol,
    message: `${visits === 1 ? '1 visit' : `${visits} visits`} to come, the next on ${dateIn(next, zone)}`,
  }))
  const list = faults.map(({ field, message }) => `  ${field}: ${message}`).join('\n')
  throw new Failure('bad-config', {
    message:
      `Visits to come need a protocol that is not there any more:\n${list}\n` +
      'Put its file back into the folder "protocols" of SITE_TEMPLATES_DIR. To do without it, start with the file, ' +
      'amend those visits to another protocol, and take the file away then.',
    faults,
  })
}
