import type { Callback } from '../../../flows/ports/gateway.ts'
import type { CallbackAuth } from './http-config.ts'
import { sameSecret } from '../../vault/same-secret.ts'
import { sign } from './signature.ts'
import type { Secrets } from './template.ts'

export type Verify = (callback: Callback, now: Date) => boolean

/** Makes the check of a callback's sender ready. Every comparison takes the same time whatever was given. */
export function callbackVerifier(auth: CallbackAuth, secrets: Secrets): Verify {
  const secretOf = (reference: string) => secrets(reference.slice('env:'.length))
  if (auth.kind === 'bearer') {
    const expected = `Bearer ${secretOf(auth.token)}`
    return ({ headers }) => sameSecret(headers['authorization'] ?? '', expected)
  }
  if (auth.kind === 'query') {
    const expected = secretOf(auth.secret)
    return ({ query }) => sameSecret(query[auth.name] ?? '', expected)
  }
  const accepted = [auth.secret].flat().map(secretOf)
  return (callback, now) => signatureHolds(auth, accepted, callback, now)
}

type HmacAuth = Extract<CallbackAuth, { kind: 'hmac' }>

/** More than one secret may hold at a time, so that it can be changed without losing a callback. */
function signatureHolds(auth: HmacAuth, secrets: string[], callback: Callback, now: Date): boolean {
  const { signature, timestamp } = given(auth, callback)
  if (signature === undefined || timestamp === undefined || !isFresh(auth, timestamp, now)) return false
  const parts = { timestamp, method: callback.method, path: callback.url, body: callback.body }
  return secrets.map((secret) => sameSecret(signature, sign(auth, secret, parts))).includes(true)
}

function given(
  auth: HmacAuth,
  { headers }: Callback,
): { signature?: string | undefined; timestamp?: string | undefined } {
  const value = headers[auth.header.toLowerCase()] ?? ''
  if (!value.startsWith(auth.prefix)) return {}
  const groups: Record<string, string> = auth.pattern?.exec(value)?.groups ?? {}
  const signature = auth.pattern ? groups.signature : value.slice(auth.prefix.length)
  const beside = auth.timestampHeader === undefined ? undefined : headers[auth.timestampHeader.toLowerCase()]
  return { signature, timestamp: beside ?? groups.timestamp }
}

function isFresh(auth: HmacAuth, timestamp: string, now: Date): boolean {
  if (!/^\d{1,15}$/.test(timestamp)) return false
  const at = Number(timestamp) * (auth.timestampUnit === 's' ? 1000 : 1)
  return Math.abs(now.getTime() - at) <= auth.toleranceSeconds * 1000
}
