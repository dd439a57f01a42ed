import type { Attributes } from '@opentelemetry/api'
import type { Facts, Step } from '../../flows/ports/traces.ts'

/** By the semantic conventions of OpenTelemetry (1.37) where they have a name for it. */
const NAMES: Record<Exclude<keyof Facts, 'traceparent' | 'idle'>, string> = {
  booking: 'daysix.booking',
  clinic: 'daysix.clinic',
  message: 'messaging.message.id',
  attempt: 'daysix.attempt',
  reply: 'daysix.reply',
  revision: 'daysix.plan.revision',
  messages: 'messaging.batch.message_count',
  kind: 'daysix.kind',
  channel: 'daysix.channel',
  language: 'daysix.language',
  gateway: 'daysix.gateway',
  outcome: 'daysix.outcome',
  code: 'daysix.code',
  sureness: 'daysix.sureness',
  method: 'http.request.method',
  route: 'http.route',
  status: 'http.response.status_code',
  problem: 'daysix.problem',
  error: 'error.type',
}

/** What the conventions want said of a step that has to do with messages. */
const OPERATIONS: Partial<Record<Step, string>> = { enqueue: 'create', send: 'process', 'hand over': 'send' }

/** All that is told of a step: what has no name above is not told. */
export function attributesOf(step: Step, facts: Facts, request: string | undefined): Attributes {
  const named = Object.entries(NAMES).map(([fact, name]) => [name, facts[fact as keyof typeof NAMES]] as const)
  const operation = OPERATIONS[step]
  return {
    ...Object.fromEntries(named.filter(([, value]) => value !== undefined && value !== null)),
    ...(operation && { 'messaging.system': 'daysix', 'messaging.operation.type': operation }),
    ...(operation && { 'messaging.operation.name': step }),
    ...(request !== undefined && { 'daysix.request': request }),
  } as Attributes
}

/** What somebody reads in a list of spans: by the conventions, a request's method and the pattern of its address. */
export function titleOf(step: Step, { method, route }: Facts): string {
  return step === 'request' ? [method, route].filter(Boolean).join(' ') : step
}
