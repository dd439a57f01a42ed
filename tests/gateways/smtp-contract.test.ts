import { describe } from 'vitest'
import { createSmtpGateway } from '../../src/adapters/gateways/smtp/smtp-gateway.ts'
import { gatewayContract } from './contract.ts'
import type { Fate } from './fates.ts'
import { addressOf, mailPeerPresent, MailPeer } from './peers/mail-peer.ts'
import { recordingEars } from './recording-ears.ts'

// The peer is aiosmtpd, a server in another language. Every way to have it for a connection is tried.

const never = 'nobody tells a sender by SMTP what became of a letter'
const CANNOT: Partial<Record<Fate, string>> = {
  ...{ twice: never, noReceipt: never, earlyReceipt: never, undelivered: never },
  throttle: 'SMTP has no reply for "too fast": what is refused for now is a 4xx (RFC 5321 §4.2.1)',
}

describe.skipIf(!mailPeerPresent())('with aiosmtpd', () => {
  let port = 36_000
  for (const mode of ['none', 'starttls', 'implicit'] as const)
    gatewayContract(
      `smtp over ${mode}`,
      async () => {
        const peer = await MailPeer.start(port++, { TLS: mode, LOGIN: 'clinic:secret' })
        const gateway = createSmtpGateway(
          {
            ...{ kind: 'smtp', name: 'mail', host: '127.0.0.1', port: peer.port, answerMs: 2_000 },
            tls: { mode, ...(mode !== 'none' && { caFile: peer.caFile }) },
            ...{ auth: { user: 'clinic', password: 'env:MAIL' }, from: { address: 'visits@clinic.example' } },
          },
          { clock: { now: () => new Date() }, secret: () => 'secret' },
        )
        const ears = recordingEars()
        await gateway.start(ears)
        return {
          gateway,
          ears,
          // A letter ends its last line, as it must.
          taken: async (number) =>
            peer
              .taken()
              .filter(({ to }) => to.includes(addressOf(number)))
              .map(({ text }) => text.replace(/\n$/, '')),
          close: async () => {
            await gateway.stop()
            await peer.stop()
          },
        }
      },
      { mail: true, cannot: CANNOT },
    )
})
