import type { Feed } from '../../../domain/schedule/feed.ts'
import { text, type Hl7Message } from './parse.ts'

/**
 * Whose message it is, by MSH-3 and MSH-4: the first feed that names this sender, else the first that takes any. A name
 * that is asked for is compared sign for sign; one that is empty fits all.
 */
export function feedOf(feeds: Iterable<Feed>, message: Hl7Message): Feed | undefined {
  const msh = message.segments[0]
  const named = (field: number) => text(msh, field) || text(msh, field, 1, 2)
  const [application, facility] = [named(3), named(4)]
  const all = [...feeds].filter(
    ({ hl7Sender: asked }) =>
      (asked.application === '' || asked.application === application) &&
      (asked.facility === '' || asked.facility === facility),
  )
  return all.find(({ hl7Sender }) => hl7Sender.application !== '' || hl7Sender.facility !== '') ?? all[0]
}
