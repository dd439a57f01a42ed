import { describe, expect, it } from 'vitest'
import { createPocketGateway, type PocketOptions } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { recordingEars } from './recording-ears.ts'
import { VirtualTime } from './virtual-time.ts'

const NUMBER = '+16135550142'

function outgoing(id: string, to = NUMBER, notAfter = '2026-03-18T13:30:00Z') {
  return { id, channel: 'sms' as const, to, text: `Text ${id}`, language: 'en', notAfter: new Date(notAfter) }
}

async function network(options: Partial<PocketOptions> = {}) {
  const time = new VirtualTime('2026-03-17T12:00:00Z')
  const ears = recordingEars()
  const pocket = createPocketGateway({ clock: time, random: () => 0.5, after: time.after, ...options })
  await pocket.start(ears)
  return { time, ears, pocket }
}

describe('the pocket phone network', () => {
  it('delivers a text after a while and tells so once', async () => {
    const { time, ears, pocket } = await network()
    expect(await pocket.send(outgoing('m1'))).toEqual({ kind: 'accepted', ref: 'pocket-1' })
    expect(pocket.phone(NUMBER).texts).toEqual([])
    await time.advance(10_000)
    expect(pocket.phone(NUMBER).texts.map((text) => text.text)).toEqual(['Text m1'])
    expect(ears.receipts).toEqual([
      { gateway: 'pocket', messageId: 'm1', ref: 'pocket-1', state: 'delivered', at: new Date('2026-03-17T12:00:03Z') },
    ])
  })

  it('writes down every acceptance, the same message twice if it was handed over twice', async () => {
    const { pocket } = await network()
    await pocket.send(outgoing('m1'))
    await pocket.send(outgoing('m1'))
    expect(pocket.ledger().map((entry) => [entry.ref, entry.messageId])).toEqual([
      ['pocket-1', 'm1'],
      ['pocket-2', 'm1'],
    ])
  })

  it('refuses, throttles and fails without keeping the message', async () => {
    const { time, ears, pocket } = await network()
    for (const answer of ['rejected', 'later', 'throttled', 'misconfigured'] as const) {
      pocket.behave(NUMBER, { answer, retryAfterMs: 700 })
      expect((await pocket.send(outgoing(answer))).kind).toBe(answer)
    }
    await time.advance(60_000)
    expect([pocket.ledger(), ears.receipts, pocket.phones()]).toEqual([[], [], []])
  })

  it('keeps a message whose connection drops before the answer, and says so when asked', async () => {
    const { time, ears, pocket } = await network()
    pocket.behave(NUMBER, { answer: 'unknown' })
    expect((await pocket.send(outgoing('m1'))).kind).toBe('unknown')
    expect(await pocket.lookUp!('m1')).toEqual({ kind: 'accepted', ref: 'pocket-1' })
    expect(await pocket.lookUp!('m2')).toBe('never-seen')
    await time.advance(10_000)
    expect(ears.receipts).toHaveLength(1)
  })

  it('cannot be asked when told so', async () => {
    const { pocket } = await network({ canLookUp: false })
    expect(pocket.lookUp).toBeUndefined()
  })

  it('loses a receipt, tells one twice, and tells one before it has answered', async () => {
    const { time, ears, pocket } = await network()
    pocket.behave(NUMBER, { receipts: 0, times: 1 })
    await pocket.send(outgoing('lost'))
    pocket.behave(NUMBER, { receipts: 2, times: 1 })
    await pocket.send(outgoing('twice'))
    await time.advance(10_000)
    pocket.behave(NUMBER, { receiptFirst: true, answerAfterMs: 5_000 })
    let answered = false
    const sending = pocket.send(outgoing('early')).then(() => (answered = true))
    await time.advance(0)
    expect(ears.receipts.map((receipt) => receipt.messageId)).toEqual(['twice', 'twice', 'early'])
    expect(answered).toBe(false)
    await time.advance(5_000)
    await sending
    expect(pocket.phone(NUMBER).texts).toHaveLength(3)
  })

  it('drops a text that could not be delivered before it lost its worth', async () => {
    const { time, ears, pocket } = await network()
    pocket.behave(NUMBER, { receiptAfterMs: 3_600_000 })
    await pocket.send(outgoing('m1', NUMBER, '2026-03-17T12:30:00Z'))
    await time.advance(4_000_000)
    expect(pocket.phones()).toEqual([])
    expect(ears.receipts).toMatchObject([{ state: 'undelivered', code: 'expired' }])
  })

  it('goes back to normal after the number of messages a plan was meant for', async () => {
    const { pocket } = await network()
    pocket.behave(NUMBER, { answer: 'throttled', times: 2 })
    const kinds = []
    for (const id of ['a', 'b', 'c']) kinds.push((await pocket.send(outgoing(id))).kind)
    expect(kinds).toEqual(['throttled', 'throttled', 'accepted'])
  })

  it('follows a rule by number, unless the number has a plan of its own', async () => {
    const { pocket } = await network({ rules: (to) => (to.endsWith('0199') ? { answer: 'rejected' } : undefined) })
    expect((await pocket.send(outgoing('a', '+16135550199'))).kind).toBe('rejected')
    pocket.behave('+16135550199', {})
    expect((await pocket.send(outgoing('b', '+16135550199'))).kind).toBe('accepted')
    expect((await pocket.send(outgoing('c'))).kind).toBe('accepted')
  })

  it('tells a reply twice under one key, and two equal replies under two', async () => {
    let seed = 0
    const { ears, pocket } = await network({ random: () => (seed += 0.01) })
    await pocket.reply(NUMBER, 'period started', 2)
    await pocket.reply(NUMBER, 'period started')
    const keys = ears.heards.map((heard) => heard.key)
    expect(keys[0]).toBe(keys[1])
    expect(keys[2]).not.toBe(keys[0])
    expect(ears.heards[0]).toMatchObject({ from: NUMBER, text: 'period started', at: new Date('2026-03-17T12:00:00Z') })
  })

  it('tells a reply again when it could not be stored', async () => {
    const { time, ears, pocket } = await network()
    ears.refuse(2)
    await pocket.reply(NUMBER, 'STOP')
    expect(ears.heards).toEqual([])
    await time.advance(60_000)
    expect(ears.heards.map((heard) => heard.text)).toEqual(['STOP'])
  })

  it('holds what comes in while the service is down', async () => {
    const { time, ears, pocket } = await network()
    await pocket.send(outgoing('m1'))
    await pocket.stop()
    expect(await pocket.send(outgoing('m2'))).toEqual({ kind: 'later', code: 'not-started' })
    await time.advance(10_000)
    await pocket.reply(NUMBER, '2')
    expect([ears.receipts, ears.heards]).toEqual([[], []])
    await pocket.start(ears)
    expect([ears.receipts.length, ears.heards.length]).toEqual([1, 1])
  })

  it('finishes sends in flight before it stops', async () => {
    const { time, pocket } = await network()
    pocket.behave(NUMBER, { answerAfterMs: 1_000 })
    const sending = pocket.send(outgoing('m1'))
    let stopped = false
    const stopping = pocket.stop().then(() => (stopped = true))
    await time.advance(500)
    expect(stopped).toBe(false)
    await time.advance(500)
    await stopping
    expect((await sending).kind).toBe('accepted')
  })
})
