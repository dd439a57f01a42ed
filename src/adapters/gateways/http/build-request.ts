import { badInput } from '../../../domain/failure.ts'
import type { Body, HttpConfig, RequestAuth } from './http-config.ts'
import { FIELDS } from './http-config.ts'
import type { WireRequest } from './exchange.ts'
import { sign } from './signature.ts'
import { compile, utf16be, type Fields, type Fill, type Secrets } from './template.ts'

export type BuildRequest = (fields: Fields, now: Date) => WireRequest

interface FilledBody {
  contentType: string
  bytes: Buffer
}

/**
 * Makes the request part of a configuration ready: every template is checked now, and only filled for each message.
 *
 * @throws Failure `bad-input` on an unknown field or filter, or on text of a message in a header.
 */
export function requestBuilder(request: HttpConfig['request'], secrets: Secrets): BuildRequest {
  const url = compile(request.url, 'request.url', FIELDS, secrets, 'url')
  const query = compileAll(request.query, 'request.query', secrets)
  const headers = compileAll(request.headers, 'request.headers', secrets)
  const body = request.body && bodyBuilder(request.body, secrets)
  const authorise = request.auth ? authoriser(request.auth, secrets) : () => ({})
  return (fields, now) => {
    const filled = body?.(fields)
    const target = new URL(url(fields))
    for (const [name, fill] of query) target.searchParams.append(name, fill(fields))
    const wire: WireRequest = {
      url: target,
      method: request.method,
      headers: lengthAndType(filled),
      body: filled?.bytes,
    }
    for (const [name, fill] of headers) wire.headers[name.toLowerCase()] = headerSafe(fill(fields))
    Object.assign(wire.headers, authorise(wire, now))
    return wire
  }
}

function compileAll(templates: Record<string, string>, path: string, secrets: Secrets): [string, Fill][] {
  return Object.entries(templates).map(([name, template]) => [
    name,
    compile(template, `${path}.${name}`, FIELDS, secrets),
  ])
}

function lengthAndType(body: FilledBody | undefined): Record<string, string> {
  return body ? { 'content-type': body.contentType, 'content-length': String(body.bytes.length) } : {}
}

/** A header carries no line ends and nothing beyond Latin-1; what does not fit needs a filter in the template. */
function headerSafe(value: string): string {
  return value.replace(/[^\t\x20-\x7e\xa0-\xff]/g, ' ')
}

function bodyBuilder(body: Body, secrets: Secrets): (fields: Fields) => FilledBody {
  if (body.as === 'form') return formBuilder(compileAll(body.fields, 'request.body.fields', secrets))
  if (body.as === 'json') return jsonBuilder(compileJson(body.value, 'request.body.value', secrets))
  const fill = compile(body.text, 'request.body.text', FIELDS, secrets, body.escape)
  const encode = body.charset === 'utf-8' ? (text: string) => Buffer.from(text, 'utf8') : utf16be
  return (fields) => ({ contentType: body.contentType, bytes: encode(fill(fields)) })
}

function formBuilder(fills: [string, Fill][]): (fields: Fields) => FilledBody {
  return (fields) => {
    const form = new URLSearchParams()
    for (const [name, fill] of fills) form.append(name, fill(fields))
    return { contentType: 'application/x-www-form-urlencoded', bytes: Buffer.from(form.toString()) }
  }
}

function jsonBuilder(fill: (fields: Fields) => unknown): (fields: Fields) => FilledBody {
  return (fields) => ({ contentType: 'application/json', bytes: Buffer.from(JSON.stringify(fill(fields))) })
}

const NUMBER = /^\{([a-z0-9_]+)\|number\}$/

/** Every string in the value is a template; `{field|number}` alone becomes a JSON number. */
function compileJson(value: unknown, path: string, secrets: Secrets): (fields: Fields) => unknown {
  if (Array.isArray(value)) return compileList(value, path, secrets)
  if (value !== null && typeof value === 'object') return compileObject(value, path, secrets)
  if (typeof value !== 'string') return () => value
  const number = NUMBER.exec(value)
  const fill = compile(number ? `{${number[1]!}}` : value, path, FIELDS, secrets)
  return number ? (fields) => Number(fill(fields)) : fill
}

function compileList(list: unknown[], path: string, secrets: Secrets): (fields: Fields) => unknown {
  const fills = list.map((item, n) => compileJson(item, `${path}.${n}`, secrets))
  return (fields) => fills.map((fill) => fill(fields))
}

function compileObject(object: object, path: string, secrets: Secrets): (fields: Fields) => unknown {
  const fills = Object.entries(object).map(
    ([name, item]) => [name, compileJson(item, `${path}.${name}`, secrets)] as const,
  )
  return (fields) => Object.fromEntries(fills.map(([name, fill]) => [name, fill(fields)]))
}

function authoriser(auth: RequestAuth, secrets: Secrets): (wire: WireRequest, now: Date) => Record<string, string> {
  const secretOf = (reference: string) => (reference.startsWith('env:') ? secrets(reference.slice(4)) : reference)
  if (auth.kind === 'bearer') return () => ({ authorization: `Bearer ${secretOf(auth.token)}` })
  if (auth.kind === 'basic') {
    const user = secretOf(auth.user)
    // RFC 7617 2: everything after the first colon would be taken for the password.
    if (user.includes(':')) badInput('request.auth.user', 'A user name of kind basic cannot hold a colon.')
    const pair = Buffer.from(`${user}:${secretOf(auth.password)}`).toString('base64')
    return () => ({ authorization: `Basic ${pair}` })
  }
  const secret = secretOf(auth.secret)
  return (wire, now) => signatureHeaders(auth, secret, wire, now)
}

type HmacAuth = Extract<RequestAuth, { kind: 'hmac' }>

function signatureHeaders(auth: HmacAuth, secret: string, wire: WireRequest, now: Date): Record<string, string> {
  const timestamp = String(auth.timestampUnit === 's' ? Math.floor(now.getTime() / 1000) : now.getTime())
  const path = wire.url.pathname + wire.url.search
  const signature = sign(auth, secret, { timestamp, method: wire.method, path, body: wire.body ?? Buffer.alloc(0) })
  const stamped = auth.timestampHeader === undefined ? {} : { [auth.timestampHeader.toLowerCase()]: timestamp }
  return { ...stamped, [auth.header.toLowerCase()]: auth.prefix.replace('{timestamp}', timestamp) + signature }
}
