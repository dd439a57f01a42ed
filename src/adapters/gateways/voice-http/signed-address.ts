import { createHmac } from 'node:crypto'
import type { Callback } from '../../../flows/ports/gateway.ts'
import { sameSecret } from '../../vault/same-secret.ts'

/** What a peer may fetch at a signed address, or post to it. */
export const PURPOSES = ['script', 'voicemail', 'answer'] as const
export type Purpose = (typeof PURPOSES)[number]

/** What a signed address is for: one message, one purpose, until then. */
export interface Grant {
  messageId: string
  purpose: Purpose
  /** Seconds since 1970. */
  until: number
}

/** Writes such an address. Whoever has it may do this one thing, and nobody can make another from it. */
export function signedAddress(base: string, grant: Grant, secret: string, via?: string): string {
  const query = new URLSearchParams({ id: grant.messageId, for: grant.purpose, until: String(grant.until) })
  if (via !== undefined) query.set('via', via)
  query.set('sign', signatureOf(grant, secret))
  return `${base}/call?${query.toString()}`
}

/** What a called address grants; undefined when it was not written by us, or its time is over. */
export function grantOf({ query }: Callback, secret: string, now: Date): Grant | undefined {
  const { id: messageId = '', for: purpose = '', until = '', sign = '' } = query
  if (!isPurpose(purpose) || !/^\d{1,12}$/.test(until)) return undefined
  const grant = { messageId, purpose, until: Number(until) }
  const holds = sameSecret(sign, signatureOf(grant, secret)) && now.getTime() <= grant.until * 1000
  return holds ? grant : undefined
}

function isPurpose(word: string): word is Purpose {
  return (PURPOSES as readonly string[]).includes(word)
}

function signatureOf({ messageId, purpose, until }: Grant, secret: string): string {
  return createHmac('sha256', secret)
    .update(JSON.stringify([messageId, purpose, until]))
    .digest('hex')
}
