import { Failure } from '../../domain/failure.ts'
import { loadVisit, orNotFound } from '../lookups.ts'
import { unreachableBy } from '../patients/unreachable-by.ts'
import type { Deps } from '../ports/deps.ts'
import { noteEvent } from '../visits/note-event.ts'
import { enqueueDue } from './enqueue-due.ts'
import { newMessage } from './new-message.ts'
import { whenToTell } from './when-to-tell.ts'

/**
 * Texts or mails the patient the address of the visit's private page, within sending hours.
 * @throws not-found; too-late where the visit is cancelled, the patient may not be written to, or no hour is left
 */
export async function sendPage(deps: Deps, bookingId: string, by: string): Promise<void> {
  await deps.store.transact(async (tx) => {
    const about = await loadVisit(tx, orNotFound(await tx.bookings.lock(bookingId), 'booking'))
    if (about.booking.state === 'cancelled') throw new Failure('too-late', { message: 'This visit is cancelled.' })
    const { isTooLate, ...when } = whenToTell(deps, about)
    const channel = about.patient.channel === 'email' ? 'email' : 'sms'
    const obstacle = await unreachableBy(tx, about, when.sendAt, channel)
    if (obstacle)
      throw new Failure('too-late', { message: 'Nothing may be sent to this patient. Give the address by telephone.' })
    if (isTooLate) throw new Failure('too-late', { message: 'No text goes out before this visit any more.' })
    const facts = { kind: 'page', channel, ...when, unsolicited: false } as const
    await tx.messages.insert([newMessage(deps, about, facts)])
    await noteEvent(tx, deps, bookingId, 'page-sent', by)
  })
  await enqueueDue(deps)
  deps.notice('page-sent', { booking: bookingId })
}
