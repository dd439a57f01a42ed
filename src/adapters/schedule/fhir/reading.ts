import type { Feed, MessageRead } from '../../../domain/schedule/feed.ts'
import type { ScheduleNews } from '../../../domain/schedule/schedule-news.ts'
import type { ReadContext } from '../read-context.ts'
import type { Place } from './references.ts'
import type { Common } from './schemas.ts'

/** What every reader of a resource is given. */
export interface Reading extends Place {
  feed: Feed
  context: ReadContext
}

/** No news, and why not. */
export function nothing(...doubts: string[]): MessageRead {
  return doubts.length === 0 ? { news: [] } : { news: [], doubts }
}

/** What of a piece of news the resource's head says. */
export function head(type: string, { id, meta }: Common, { context }: Reading) {
  const version = meta?.versionId
  return {
    sender: context.sender,
    messageId: id && version ? `${type}/${id}/_history/${version}` : '',
    madeAt: meta?.lastUpdated ? new Date(meta.lastUpdated) : null,
    sequence: asSequence(version),
  } satisfies Partial<ScheduleNews>
}

/** A version that counts; servers may also use letters. */
export function asSequence(version: string | undefined): number | null {
  return version !== undefined && /^\d{1,15}$/.test(version) ? Number(version) : null
}

/** What the feed's own extension says of consent to messages. FHIR has no field for it in a schedule. */
export function consentIn({ extension }: Common, { consent }: Feed): boolean | undefined {
  const told = consent && extension?.find(({ url }) => url === consent.field)
  if (!told) return undefined
  const { valueBoolean, valueCode, valueString, valueCoding } = told
  const said = valueBoolean === undefined ? (valueCode ?? valueString ?? valueCoding?.code) : String(valueBoolean)
  return said === undefined ? undefined : consent.yes.includes(said)
}
