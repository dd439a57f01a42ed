import { describe, expect, it } from 'vitest'
import { Failover } from '../../src/adapters/gateways/failover.ts'
import { createPocketGateway, type PocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { withBreaker } from '../../src/adapters/gateways/with-breaker.ts'
import type { Gateway, Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { message } from './contract.ts'
import { FATES } from './fates.ts'

const clock = { now: () => new Date() }
const ears = { receipt: async () => {}, message: async () => {} }

/** A simulated network whose `later` carries another code: of a busy line, or of a line that is down. */
function coded(pocket: PocketGateway, code: string): Gateway {
  const send = async (outgoing: Outgoing): Promise<SendOutcome> => {
    const outcome = await pocket.send(outgoing)
    return outcome.kind === 'later' ? { ...outcome, code } : outcome
  }
  const { name, channels, onUnknown } = pocket
  return { ...{ name, channels, onUnknown, send }, start: (given) => pocket.start(given), stop: () => pocket.stop() }
}

function network(name: string): PocketGateway {
  const pocket = createPocketGateway({ name, clock, random: () => 0.5, after: () => {} })
  pocket.behave(FATES.later, { answer: 'later' })
  return pocket
}

describe('a busy line', () => {
  it('does not open the breaker of calls, whatever it means to texts; a line that is down does', async () => {
    for (const [code, channel, ok] of [
      ['busy', 'voice', true],
      ['busy', 'sms', false],
      ['trunk-silent', 'voice', false],
    ] as const) {
      const gateway = withBreaker(coded(network('calls'), code), { clock })
      await gateway.start(ears)
      for (let n = 0; n < 6; n++) await gateway.send({ ...message(FATES.later), channel })
      expect(gateway.health!().ok, `${code} ${channel}`).toBe(ok)
    }
  })

  it('is not rung again at once through another trunk', async () => {
    for (const [code, passed] of [
      ['busy', 0],
      ['trunk-silent', 1],
    ] as const) {
      const second = createPocketGateway({ name: 'second', clock, random: () => 0.5, after: () => {} })
      const both = new Failover('calls', [coded(network('first'), code), second])
      await both.start(ears)
      await both.send({ ...message(FATES.later), channel: 'voice' })
      expect(second.ledger(), code).toHaveLength(passed)
    }
  })
})
