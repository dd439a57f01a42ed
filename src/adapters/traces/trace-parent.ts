import { isSpanContextValid, type SpanContext } from '@opentelemetry/api'

/** Version 00 of W3C Trace Context; a later one may go on after a hyphen. */
const PATTERN = /^(?!ff)[0-9a-f]{2}-([0-9a-f]{32})-([0-9a-f]{16})-([0-9a-f]{2})(?:-.*)?$/

/** The step of somebody else's that a request came from; undefined where the header names none. */
export function stepOfOthers(traceparent: string | undefined): SpanContext | undefined {
  const [, traceId, spanId, flags] = PATTERN.exec(traceparent?.trim() ?? '') ?? []
  if (!traceId || !spanId || !flags) return undefined
  const context = { traceId, spanId, traceFlags: parseInt(flags, 16) & 1, isRemote: true }
  return isSpanContextValid(context) ? context : undefined
}
