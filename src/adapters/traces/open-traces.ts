import { NO_TRACES, type Traces } from '../../flows/ports/traces.ts'
import type { TraceSettings, TracesAround } from './otlp-traces.ts'

/**
 * Where steps are told, if anywhere. Without an address nothing of OpenTelemetry is even loaded.
 * @param settings undefined = nobody listens
 */
export async function openTraces(settings: TraceSettings | undefined, around: TracesAround): Promise<Traces> {
  if (!settings) return NO_TRACES
  const { otlpTraces } = await import('./otlp-traces.ts')
  return otlpTraces(settings, around)
}
