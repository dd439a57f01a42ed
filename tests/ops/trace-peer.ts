import { once } from 'node:events'
import { createServer, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import { buffer } from 'node:stream/consumers'
import protobuf from 'protobufjs'

const PROTOS = new URL('otlp/', import.meta.url).pathname

/**
 * As https://github.com/open-telemetry/opentelemetry-proto publishes it, v1.9.0, copied unchanged into `otlp`: read by
 * a library that the service does not use.
 */
const REQUEST = published().lookupType('opentelemetry.proto.collector.trace.v1.ExportTraceServiceRequest')

function published(): protobuf.Root {
  const root = new protobuf.Root()
  root.resolvePath = (_origin, target) => PROTOS + target
  return root.loadSync('opentelemetry/proto/collector/trace/v1/trace_service.proto', { keepCase: false })
}

/** A span, as the peer understood it. */
export interface Heard {
  name: string
  traceId: string
  spanId: string
  parentSpanId: string
  kind: string
  from: number
  to: number
  attributes: Record<string, string | number>
  links: { traceId: string; spanId: string }[]
  failed: boolean
  /** The process that told it. */
  process: string
}

interface Value {
  stringValue?: string
  intValue?: string
}
interface Attribute {
  key: string
  value: Value
}
interface Spans {
  resourceSpans: {
    resource: { attributes: Attribute[] }
    scopeSpans: {
      spans: (Omit<Heard, 'attributes' | 'failed'> & {
        attributes: Attribute[]
        startTimeUnixNano: string
        endTimeUnixNano: string
        status?: { code?: string }
      })[]
    }[]
  }[]
}

/** Takes OTLP by HTTP in JSON on the loopback, and keeps the bytes as they came. */
export class TracePeer {
  readonly bytes: Buffer[] = []
  #server: Server | undefined
  /** Of its answers; `silent` gives none. */
  status: number | 'silent' = 200

  async start(): Promise<void> {
    this.#server = createServer((request, response) => {
      void buffer(request).then((body) => {
        this.bytes.push(body)
        if (this.status === 'silent') return
        response.writeHead(this.status, { 'Content-Type': 'application/json' }).end('{}')
      })
    })
    await once(this.#server.listen(0, '127.0.0.1'), 'listening')
  }

  get url(): string {
    return `http://127.0.0.1:${(this.#server!.address() as AddressInfo).port}/v1/traces`
  }

  async stop(): Promise<void> {
    this.#server?.closeAllConnections()
    await new Promise((done) => this.#server!.close(done))
  }

  spans(): Heard[] {
    return this.bytes.flatMap(spansIn)
  }
}

/** @throws where the schema knows no such field, or not of such a type. */
function spansIn(body: Buffer): Heard[] {
  const told = JSON.parse(body.toString('utf8'), idsAsBytes) as Record<string, unknown>
  const wrong = REQUEST.verify(told)
  // Numbers of 64 bits come as text in JSON: `fromObject` reads them, `verify` does not.
  if (wrong && !/integer\|Long expected/.test(wrong)) throw new Error(wrong)
  const message = REQUEST.fromObject(told)
  const known = REQUEST.toObject(message, { longs: String, enums: String }) as Spans
  refuseUnknown(told, REQUEST)
  return known.resourceSpans.flatMap(({ resource, scopeSpans }) =>
    scopeSpans.flatMap(({ spans }) =>
      spans.map((span) => ({
        ...span,
        ...Object.fromEntries(IDS.map((name) => [name, hex(span[name as 'spanId'])])),
        from: Number(span.startTimeUnixNano) / 1e6,
        to: Number(span.endTimeUnixNano) / 1e6,
        attributes: plain(span.attributes),
        links: (span.links ?? []).map(({ traceId, spanId }) => ({ traceId: hex(traceId), spanId: hex(spanId) })),
        failed: span.status?.code === 'STATUS_CODE_ERROR',
        process: String(plain(resource.attributes)['service.instance.id']),
      })),
    ),
  )
}

const IDS = ['traceId', 'spanId', 'parentSpanId']
/** OTLP/JSON writes ids in hex, unlike what JSON of Protocol Buffers does with bytes. */
const idsAsBytes = (key: string, value: unknown) =>
  IDS.includes(key) && typeof value === 'string' ? Buffer.from(value, 'hex').toString('base64') : value
const hex = (bytes: unknown) => (bytes ? Buffer.from(bytes as Uint8Array).toString('hex') : '')

function plain(attributes: Attribute[] = []): Record<string, string | number> {
  return Object.fromEntries(
    attributes.map(({ key, value }) => [key, value.stringValue ?? Number(value.intValue ?? Number.NaN)]),
  )
}

/** What `fromObject` would pass over in silence. */
function refuseUnknown(told: Record<string, unknown>, type: protobuf.Type): void {
  for (const [key, value] of Object.entries(told)) {
    const field = type.fields[key]
    if (!field) throw new Error(`${type.name} has no field ${key}`)
    const inner = field.resolve().resolvedType
    if (!(inner instanceof protobuf.Type)) continue
    for (const each of [value].flat()) refuseUnknown(each as Record<string, unknown>, inner)
  }
}
