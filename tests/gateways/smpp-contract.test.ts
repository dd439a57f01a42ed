import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createSmppGateway } from '../../src/adapters/gateways/smpp/smpp-gateway.ts'
import { gatewayContract, type Rig } from './contract.ts'
import { PATIENT } from './fates.ts'
import { joinParts } from './join-parts.ts'
import { TestSmsc } from './peers/test-smsc.ts'
import { recordingEars } from './recording-ears.ts'
import { phoneOctets, phoneParts } from './smpp-octets.ts'

const clock = { now: () => new Date() }

async function smppRig(rest: object = {}): Promise<Rig> {
  const smsc = new TestSmsc()
  const port = await smsc.listen()
  const ears = recordingEars()
  const raw = {
    kind: 'smpp',
    name: 'centre',
    host: '127.0.0.1',
    port,
    systemId: 'daysix',
    password: 'env:SMSC',
    from: { address: '80001' },
    ids: { accept: 'hex', receipt: 'decimal' },
    answerMs: 3_000,
    reconnectMs: 50,
    pauseMs: 50,
    ...rest,
  }
  const gateway = createSmppGateway(raw, {
    clock,
    random: Math.random,
    secret: () => 'secret',
    memory: scratchMemory(),
  })
  await gateway.start(ears)
  let reference = 0
  return {
    gateway,
    ears,
    taken: async (number) => joinParts(smsc.taken, number),
    say: async (text) => {
      reference++
      for (const { octets, ...fields } of phoneParts(phoneOctets(text), reference)) {
        void smsc.say({ source_addr: PATIENT.slice(1), ...fields, short_message: octets })
      }
    },
    close: async () => {
      await gateway.stop()
      await smsc.close()
    },
  }
}

gatewayContract('smpp', () => smppRig())
gatewayContract('smpp over a pair of connections', () => smppRig({ bind: 'pair' }))
