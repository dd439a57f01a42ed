import type { Feed, MessageRead } from '../../../domain/schedule/feed.ts'
import { CODE, type ReadContext } from '../read-context.ts'
import type { Framed } from './mllp.ts'
import { parse, parseHead, type Hl7Message } from './parse.ts'
import { readMessage } from './read-siu.ts'

export interface FramedRead {
  read: MessageRead
  /** By which its sender is answered: the message, else its head; null where not even that can be read. */
  message: Hl7Message | null
}

/** What stands in a frame, or what is wrong with it. */
export function readFramed(framed: Framed, feed: Feed, context: Pick<ReadContext, 'zones'>): FramedRead {
  if ('fault' in framed)
    return {
      read: { ack: framed.ack, code: CODE.person, at: '', why: framed.fault },
      message: parseHead(framed.head),
    }
  const parsed = parse(framed.frame, feed.charset)
  if ('refusal' in parsed) return { read: parsed.refusal, message: parsed.head }
  return { read: readMessage(parsed.message, feed, context), message: parsed.message }
}
