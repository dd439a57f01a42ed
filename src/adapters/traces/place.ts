import { createHash } from 'node:crypto'
import type { Facts, Step } from '../../flows/ports/traces.ts'

/** Where a span belongs. What is missing is drawn by lot. */
export interface Place {
  traceId?: string
  spanId?: string
  /** Of the span in the same trace that it is part of. */
  parentId?: string
}

/**
 * Every process derives the same ids from the same records: so nothing has to be handed from one to the other, and
 * nothing be kept. A trace is that of a booking; of a message or a reply where there is none, else of the request.
 *
 *   book visit ─┬─ keep plan
 *               ├─ enqueue
 *               ├─ send ─┬─ claim
 *               │        ├─ hand over
 *               │        ├─ record
 *               │        └─ take receipt
 *               └─ take reply
 *
 * @param request id of the request that it is done for, if for one
 */
export function placeOf(step: Step, facts: Facts, request: string | undefined): Place {
  const subject = facts.booking ?? facts.message ?? facts.reply ?? request
  if (subject === undefined) return {}
  const own = ownName(step, facts, request)
  const parent = parentName(step, facts, request)
  return {
    traceId: traceOf(subject),
    ...(own !== undefined && { spanId: spanOf(own) }),
    ...(parent !== undefined && { parentId: spanOf(parent) }),
  }
}

/** Where the span of a request is. */
export const placeOfRequest = (request: string) => ({ traceId: traceOf(request), spanId: spanOf(request) })

const attemptName = ({ message, attempt = 0 }: Facts) => `${message} ${attempt}`

/** By what others find it as their parent; undefined where none does. */
function ownName(step: Step, facts: Facts, request: string | undefined): string | undefined {
  if (step === 'request') return request
  if (step === 'book visit') return facts.booking ?? undefined
  return step === 'send' ? attemptName(facts) : undefined
}

const OF_AN_ATTEMPT: readonly Step[] = ['claim', 'hand over', 'record', 'take receipt']

function parentName(step: Step, facts: Facts, request: string | undefined): string | undefined {
  if (step === 'request') return undefined
  if (OF_AN_ATTEMPT.includes(step) && facts.message !== undefined) return attemptName(facts)
  if (facts.booking) return step === 'book visit' ? undefined : facts.booking
  return facts.message === undefined && facts.reply === undefined ? request : undefined
}

const digest = (text: string) => createHash('sha256').update(text).digest('hex')
const traceOf = (subject: string) => digest(`daysix trace ${subject}`).slice(0, 32)
const spanOf = (name: string) => digest(`daysix span ${name}`).slice(0, 16)
