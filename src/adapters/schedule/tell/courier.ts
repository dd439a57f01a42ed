import type { Asking, TellBy } from '../../../domain/schedule/telling.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import type { Courier } from '../../../flows/schedule/tell-schedules.ts'
import { connections, exchange } from '../../gateways/http/exchange.ts'
import { moveMessage } from './move-message.ts'
import { sendMllp } from './mllp-client.ts'
import { contentDigest, signed } from './http-signature.ts'

const PATIENCE_MS = 30_000

/** Tells keepers of schedules by HL7 v2 or by a signed request. @param secret looks up what is named `env:NAME` */
export function courier(
  { feeds, policy }: Pick<Deps, 'feeds' | 'policy'>,
  secret: (name: string) => string | undefined,
): Courier {
  return async (asking, by) => {
    const zone = feeds.get(asking.feed)?.zone ?? 'UTC'
    if (by.by === 'mllp') return sendMllp(moveMessage(asking, by, zone, policy.production), asking.id, by)
    await post(asking, by, secret(by.secret.slice('env:'.length)))
  }
}

type Hook = Extract<TellBy, { by: 'webhook' }>

/** What a clinic's own software is told; times are instants. */
export function bodyOf({ id, feed, key, from, to, minutes, madeAt }: Asking): string {
  const what = { id, what: 'move-asked', feed, appointment: key, from, to, minutes, madeAt }
  return JSON.stringify(what)
}

async function post(asking: Asking, { address, keyId }: Hook, secret: string | undefined): Promise<void> {
  if (secret === undefined) throw new Error('The secret to sign with is not set.')
  const body = bodyOf(asking)
  const url = new URL(address)
  const digest = contentDigest(body)
  const covered = [
    ['@method', 'POST'] as const,
    ['@target-uri', url.href] as const,
    ['content-digest', digest] as const,
  ]
  const created = Math.floor(asking.madeAt.getTime() / 1000)
  const { input, signature } = signed(covered, { created, keyId, secret: Buffer.from(secret) })
  const headers = {
    ...{ 'Content-Type': 'application/json', 'Content-Digest': digest, 'Idempotency-Key': asking.id },
    ...{ 'Signature-Input': input, Signature: signature, 'Content-Length': String(Buffer.byteLength(body)) },
  }
  const agent = connections(url.protocol, 1)
  try {
    const answer = await exchange({ url, method: 'POST', headers, body: Buffer.from(body) }, agent, PATIENCE_MS)
    if ('fault' in answer) throw new Error(answer.code)
    if (answer.status < 200 || answer.status > 299) throw new Error(`Answered ${answer.status}.`)
  } finally {
    agent.destroy()
  }
}
