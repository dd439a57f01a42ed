import { isSpanContextValid, type SpanContext } from '@opentelemetry/api'

const PATTERN = /^([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-([0-9a-f]{2})(-.*)?$/

/**
 * The step of somebody else's that a request came from, by W3C Trace Context; undefined where the header names none.
 * Versions to come may have more in it; 00 has not, and ff never will be one.
 */
export function stepOfOthers(traceparent: string | undefined): SpanContext | undefined {
  const [, version, traceId, spanId, flags, more] = PATTERN.exec(traceparent?.trim() ?? '') ?? []
  if (!traceId || !spanId || !flags || version === 'ff' || (version === '00' && more !== undefined)) return undefined
  const context = { traceId, spanId, traceFlags: parseInt(flags, 16) & 1, isRemote: true }
  return isSpanContextValid(context) ? context : undefined
}
