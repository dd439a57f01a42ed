import type { Feed, MessageRead } from '../../../domain/schedule/feed.ts'
import { CODE, notForUs, toPerson, type ReadContext } from '../read-context.ts'
import { keyOfDeleted } from './appointment.ts'
import { asSequence, nothing } from './reading.ts'
import { fileTogether, type Place, type Together } from './references.ts'
import { bundleSchema, type Bundle } from './schemas.ts'
import { isResource, notUnderstood, strictly, type Raw } from './strict.ts'

/** Those that carry content; answers to a transaction or batch tell us nothing, documents are for people. */
const TYPES = ['transaction', 'batch', 'message', 'history', 'searchset', 'collection']

type Entry = NonNullable<Bundle['entry']>[number]
type ReadOne = (place: Place, feed: Feed, context: ReadContext) => MessageRead

/** Each entry of a bundle, in its order: a history is newest first, and its versions say so. */
export function readBundle(
  bundle: Raw & { resourceType: string },
  feed: Feed,
  context: ReadContext,
  readOne: ReadOne,
): MessageRead[] {
  const fault = notUnderstood({ ...bundle, entry: undefined })
  if (fault) return [fault]
  const read = strictly(bundleSchema, bundle, 'Bundle')
  if ('refused' in read) return [read.refused]
  const { type, entry = [] } = read.fields
  if (!TYPES.includes(type))
    return [notForUs(CODE.unsupported, 'Bundle.type', `Bundles of these types are taken: ${TYPES.join(', ')}.`)]
  const together = fileTogether(entry, context.base)
  return entry.map((one, index) => {
    const answer = readEntry(one, together, feed, context, readOne)
    return 'news' in answer ? answer : { ...answer, at: `Bundle.entry[${index}]${answer.at && `, ${answer.at}`}` }
  })
}

function readEntry(one: Entry, together: Together, feed: Feed, context: ReadContext, readOne: ReadOne): MessageRead {
  const { resource, fullUrl, request } = one
  const method = request?.method ?? 'PUT'
  if (method === 'DELETE') return deleted(one, together, feed, context)
  if (method === 'GET' || method === 'HEAD') return nothing()
  if (method !== 'PUT' && method !== 'POST')
    return toPerson(CODE.unsupported, 'request.method', 'A part of a resource is not taken: send the whole of it.')
  if (resource === undefined) return nothing('Bundle.entry: it carries no resource.')
  if (!isResource(resource)) return toPerson(CODE.type, 'resource', 'It does not say what it is in resourceType.')
  if (resource.resourceType === 'Bundle')
    return toPerson(CODE.unsupported, 'resource', 'A bundle in a bundle is not taken: send it by itself.')
  if (resource.resourceType === 'OperationOutcome')
    return toPerson(CODE.person, 'resource', 'The server answers with a fault of its own: the list may not be whole.')
  return readOne({ resource, fullUrl, together }, feed, context)
}

/** A visit that was deleted never was, by what the server says: that is no cancellation. */
function deleted(one: Entry, together: Together, feed: Feed, context: ReadContext): MessageRead {
  const [, type, id] = /(?:^|\/)([A-Z][A-Za-z]+)\/([A-Za-z0-9\-.]{1,64})$/.exec(one.request!.url) ?? []
  if (id === undefined)
    return toPerson(CODE.unsupported, 'request.url', 'What was deleted is not named by its address.')
  if (type !== 'Appointment') return nothing(`${type}: it was deleted there, and stays as it is known here.`)
  const key = keyOfDeleted(id, { resource: {}, fullUrl: one.fullUrl, together, feed, context })
  if ('ack' in key) return key
  const version = /^(?:W\/)?"(.+)"$/.exec(one.response?.etag ?? '')?.[1]
  const madeAt = one.response?.lastModified
  return {
    news: [
      {
        sender: context.sender,
        messageId: version ? `Appointment/${id}/_history/${version}` : '',
        event: 'entered-in-error',
        key,
        madeAt: madeAt ? new Date(madeAt) : null,
        sequence: asSequence(version),
        visit: null,
        patient: null,
        doubts: ['The appointment was deleted, without a word of why.'],
      },
    ],
  }
}
