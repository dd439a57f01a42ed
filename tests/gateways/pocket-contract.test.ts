import { createPocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { gatewayContract } from './contract.ts'
import { FATES, PATIENT } from './fates.ts'
import { recordingEars } from './recording-ears.ts'

gatewayContract('pocket', async () => {
  const ears = recordingEars()
  const gateway = createPocketGateway({
    clock: { now: () => new Date() },
    random: Math.random,
    receiptDelayMs: 5,
    after: (ms, work) => void setTimeout(() => void work(), Math.min(ms, 50)),
  })
  gateway.behave(FATES.reject, { answer: 'rejected' })
  gateway.behave(FATES.later, { answer: 'later' })
  gateway.behave(FATES.throttle, { answer: 'throttled' })
  gateway.behave(FATES.slow, { answerAfterMs: 40 })
  gateway.behave(FATES.twice, { receipts: 2 })
  gateway.behave(FATES.noReceipt, { receipts: 0 })
  gateway.behave(FATES.earlyReceipt, { receiptFirst: true })
  gateway.behave(FATES.undelivered, { fate: 'undelivered' })
  gateway.behave(FATES.drop, { answer: 'unknown' })
  gateway.behave(FATES.silent, { answer: 'unknown' })
  await gateway.start(ears)
  return {
    gateway,
    ears,
    taken: async (number) =>
      gateway
        .ledger()
        .filter((entry) => entry.to === number)
        .map((entry) => entry.text),
    say: (text) => gateway.reply(PATIENT, text),
    close: async () => {},
  }
})
