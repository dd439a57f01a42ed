import { badInput } from '../../../domain/failure.ts'
import type { HttpConfig, ReceiptMapping, ReplyMapping } from './http-config.ts'
import type { Fields, Secrets } from './template.ts'

interface Where {
  callbackUrl?: string
  via?: string
  callFields?: unknown
}

/**
 * Addresses for the peer to call back, with our message id and, where that is how it shows itself, the shared secret.
 *
 * @throws Failure `bad-input` where the request speaks of an address that nobody can call.
 */
export function addressesOf(config: HttpConfig, deps: Where, secrets: Secrets): Fields {
  const base = deps.callbackUrl
  const via = deps.via === undefined ? '' : `&via=${deps.via}`
  const address = (path: string, mapping: ReceiptMapping | ReplyMapping | undefined) => {
    if (base === undefined || mapping === undefined) return ''
    const { auth } = mapping
    const key =
      auth.kind === 'query'
        ? `&${encodeURIComponent(auth.name)}=${encodeURIComponent(secrets(auth.secret.slice(4)))}`
        : ''
    return `${base}/${path}?id={id}${via}${key}`
  }
  const addresses = { receipt: address('receipt', config.receipts), reply: address('reply', config.replies) }
  for (const [path, url] of Object.entries(addresses)) if (url === '') refuseUse(config, path, base)
  if (!deps.callFields && /\{(script_url|voicemail_url|voicexml)/.test(JSON.stringify(config.request)))
    badInput('request', 'Only a gateway of kind voice-http has a script to speak of.')
  return addresses
}

/** An address that nobody can call must not be handed to the peer. */
function refuseUse({ request }: HttpConfig, path: string, base: string | undefined): void {
  if (!JSON.stringify(request).includes(`{${path}_url`)) return
  const described = path === 'reply' ? 'replies' : 'receipts'
  if (base !== undefined) badInput('request', `{${path}_url} leads nowhere: describe ${described} in this file.`)
  badInput('request', `{${path}_url} has no value: set PUBLIC_URL, the address at which the peer reaches the service.`)
}
