import { setTimeout as pause } from 'node:timers/promises'
import { ROOT_CONTEXT, SpanKind, SpanStatusCode, TraceFlags, trace, type Link } from '@opentelemetry/api'
import { OTLPTraceExporter } from '@opentelemetry/exporter-trace-otlp-http'
import { resourceFromAttributes } from '@opentelemetry/resources'
import {
  BasicTracerProvider,
  BatchSpanProcessor,
  RandomIdGenerator,
  TraceIdRatioBasedSampler,
  type IdGenerator,
} from '@opentelemetry/sdk-trace-base'
import type { Logger } from 'pino'
import type { Clock } from '../../flows/ports/deps.ts'
import type { Facts, Step, Traces } from '../../flows/ports/traces.ts'
import { codeOf } from '../faults/database-trouble.ts'
import { forRequest, requestNow } from '../log/log.ts'
import { attributesOf, titleOf } from './attributes.ts'
import { placeOf, placeOfRequest, type Place } from './place.ts'
import { stepOfOthers } from './trace-parent.ts'
import { tellingOnce } from './telling-once.ts'

export interface TraceSettings {
  /** Where OTLP is taken by HTTP, in JSON. */
  url: string
  /** Which share of the traces is told, each wholly or not at all. */
  ratio: number
}

export interface TracesAround {
  /** By which steps of several machines stand in order. */
  clock: Clock
  log: Logger
  version: string
  /** Of this process. */
  instance: string
}

/** Spans held while nobody takes them; more are dropped. */
const MOST_HELD = 4_096
const AT_ONCE = 512
const COLLECT_MS = 2_000
const ANSWER_MS = 5_000
const STOP_MS = 3_000
/** Whatever comes to stand in a fact. */
const LONGEST_VALUE = 120

const KINDS: Partial<Record<Step, SpanKind>> = {
  request: SpanKind.SERVER,
  enqueue: SpanKind.PRODUCER,
  send: SpanKind.CONSUMER,
  'hand over': SpanKind.CLIENT,
}

/** A step that is over, as it is told. */
interface Done {
  step: Step
  facts: Facts
  request: string | undefined
  from: number
  to: number
}

/**
 * Tells steps to whoever takes OTLP at an address. A span is made once its step is over: only then its trace is known.
 */
export function otlpTraces({ url, ratio }: TraceSettings, { clock, log, version, instance }: TracesAround): Traces {
  const ids = givenIds()
  const exporter = tellingOnce(new OTLPTraceExporter({ url, timeoutMillis: ANSWER_MS }), log)
  const held = { maxQueueSize: MOST_HELD, maxExportBatchSize: AT_ONCE }
  const times = { scheduledDelayMillis: COLLECT_MS, exportTimeoutMillis: ANSWER_MS + 1_000 }
  const provider = new BasicTracerProvider({
    resource: resourceFromAttributes({
      'service.name': 'daysix',
      'service.version': version,
      'service.instance.id': instance,
    }),
    // By the trace alone: every process comes to the same decision about a booking, and nobody outside has a say.
    sampler: new TraceIdRatioBasedSampler(ratio),
    idGenerator: ids.generator,
    spanLimits: { attributeValueLengthLimit: LONGEST_VALUE },
    spanProcessors: [new BatchSpanProcessor(exporter, { ...held, ...times })],
  })
  const tracer = provider.getTracer('daysix', version)
  const tell = ({ step, facts, request, from, to }: Done) => {
    const place = placeOf(step, facts, request)
    const span = ids.giving(place, () =>
      tracer.startSpan(
        titleOf(step, facts),
        {
          kind: KINDS[step] ?? SpanKind.INTERNAL,
          startTime: from,
          attributes: attributesOf(step, facts, request),
          links: linksOf(place, facts, request),
        },
        contextOf(place),
      ),
    )
    if (facts.error !== undefined) span.setStatus({ code: SpanStatusCode.ERROR })
    span.end(to)
  }
  return {
    on: true,
    span: (step, facts, work) => timed(clock, { step, facts }, work, tell),
    // What is not taken by then is lost: a stop never waits for whoever only looks on.
    stop: () => Promise.race([provider.shutdown().catch(() => {}), pause(STOP_MS, undefined, { ref: false })]),
  }
}

async function timed<T>(
  clock: Clock,
  { step, facts: known }: Pick<Done, 'step' | 'facts'>,
  work: (note: (more: Facts) => void) => Promise<T>,
  tell: (done: Done) => void,
): Promise<T> {
  const request = requestNow()
  const from = clock.now().getTime()
  const began = performance.now()
  let facts = known
  try {
    return await work((more) => (facts = { ...facts, ...more }))
  } catch (error) {
    facts = { ...facts, error: wordFor(error) }
    throw error
  } finally {
    const to = from + performance.now() - began
    if (!facts.idle) quietly(() => tell({ step, facts, request, from, to }))
  }
}

/** What was done stands, whatever becomes of the telling. */
function quietly(tell: () => void): void {
  try {
    // What is sent later, with others, belongs to no request.
    forRequest(undefined, tell)
  } catch {
    // One step is not told.
  }
}

/** Never an error's words: they may hold a patient's. */
const wordFor = (error: unknown): string => codeOf(error) ?? (error instanceof Error ? error.name : 'unknown')

/** What is done for a request and belongs to another trace leads to it; so does a request to whoever sent it. */
function linksOf({ traceId }: Place, { traceparent }: Facts, request: string | undefined): Link[] {
  const ours = request === undefined ? undefined : placeOfRequest(request)
  const theirs = stepOfOthers(traceparent)
  return [
    ...(ours && ours.traceId !== traceId ? [{ context: { ...ours, traceFlags: TraceFlags.SAMPLED } }] : []),
    ...(theirs ? [{ context: theirs }] : []),
  ]
}

function contextOf({ traceId, parentId }: Place) {
  if (traceId === undefined || parentId === undefined) return ROOT_CONTEXT
  const parent = { traceId, spanId: parentId, traceFlags: TraceFlags.SAMPLED, isRemote: true }
  return trace.setSpanContext(ROOT_CONTEXT, parent)
}

/** Ids for the next span, where there are such; a span is made in one go, so none comes between. */
function givenIds() {
  const random = new RandomIdGenerator()
  let given: Place = {}
  const generator: IdGenerator = {
    generateTraceId: () => given.traceId ?? random.generateTraceId(),
    generateSpanId: () => given.spanId ?? random.generateSpanId(),
  }
  const giving = <T>(place: Place, make: () => T): T => {
    given = place
    try {
      return make()
    } finally {
      given = {}
    }
  }
  return { generator, giving }
}
