import { ExportResultCode } from '@opentelemetry/core'
import type { SpanExporter } from '@opentelemetry/sdk-trace-base'
import type { Logger } from 'pino'

/** The same exporter, whose failure is told once, and that it is over once. */
export function tellingOnce(exporter: SpanExporter, log: Logger): SpanExporter {
  let failing = false
  const heard = (failed: boolean) => {
    if (failed === failing) return
    failing = failed
    if (failed) log.warn('traces are not taken at TRACES_URL: they are dropped until they are')
    else log.info('traces are taken again')
  }
  return {
    export: (spans, done) =>
      exporter.export(spans, (result) => {
        heard(result.code !== ExportResultCode.SUCCESS)
        done(result)
      }),
    ...(exporter.forceFlush && { forceFlush: () => exporter.forceFlush!() }),
    shutdown: () => exporter.shutdown(),
  }
}
