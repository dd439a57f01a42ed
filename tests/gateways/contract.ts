import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import type { Gateway, Outgoing, Receipt, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { SOON } from '../harness/patience.ts'
import { call } from '../messages/voice/example-calls.ts'
import { FATES, PATIENT, type Fate } from './fates.ts'
import { addressOf } from './peers/mail-peer.ts'
import type { RecordingEars } from './recording-ears.ts'

/** A gateway with a peer behind it, started and listening. */
export interface Rig {
  gateway: Gateway
  ears: RecordingEars
  /** Texts to a number that the peer took, whole, by its own books. */
  taken: (number: string) => Promise<string[]>
  /** The patient sends a text. Calls bring keys instead: see `voice`. */
  say?: (text: string) => Promise<void>
  close: () => Promise<void>
}

export interface ContractOptions {
  /** Fates that this peer cannot be brought to, each with the reason. */
  cannot?: Partial<Record<Fate, string>>
  /** The peer accepts first and says afterwards, by receipt, that it was refused behind it. */
  rejectsByReceipt?: boolean
  /** It calls: every message is a call, in which whoever is called at `accept` presses 1 to confirm. */
  voice?: boolean
  /** It carries e-mail to addresses: see `addressOf`. Nothing comes back by it. */
  mail?: boolean
  /** The peer never says what was delivered. */
  silent?: boolean
  /** The peer's books tell how many messages it took, not their words. */
  counted?: boolean
}

let sent = 0

/** A message with an id of its own. */
export function message(to: string, text = 'Your visit is on 20 March.'): Outgoing {
  return { id: `m-${++sent}`, channel: 'sms', to, text, language: 'en', notAfter: new Date(Date.now() + 3_600_000) }
}

/** A call that says the text, with an id of its own. */
function callTo(to: string, text?: string): Outgoing {
  const outgoing = message(to, text)
  const script = call('day-before')
  const { greeting, message: said } = script.steps
  return {
    ...outgoing,
    channel: 'voice',
    voice: { ...script, steps: { greeting, message: { ...said, say: [outgoing.text, ...said.say.slice(1)] } } },
  }
}

/** A letter to the address that has the fate of this number. */
export function letterTo(to: string, text?: string): Outgoing {
  return { ...message(addressOf(to), text), channel: 'email', subject: 'Your visit' }
}

/** What every gateway does, whatever it speaks to its peer. */
export function gatewayContract(name: string, setUp: () => Promise<Rig>, options: ContractOptions = {}): void {
  const { cannot = {}, rejectsByReceipt = false, voice = false, mail = false, counted = false } = options
  const silent = options.silent ?? mail
  describe(`the gateway contract, kept by ${name}`, () => {
    let rig: Rig
    const make = voice ? callTo : mail ? letterTo : message
    /** Texts as far as the peer's books have them. */
    const seen = (texts: string[]) => (counted ? texts.map(() => 'a message') : texts)
    const taken = async (number: string) => seen(await rig.taken(number))
    beforeAll(async () => void (rig = await setUp()))
    afterAll(() => rig.close())

    const fate = (which: Fate, title: string, test: () => Promise<void>) =>
      which in cannot ? undefined : it(title, test)
    const receiptsOf = (outgoing: Outgoing, outcome?: SendOutcome) =>
      rig.ears.receipts.filter((one) => concerns(one, outgoing, outcome))
    /** The link of some gateways has to be made again first. */
    const accepted = (outgoing: Outgoing) =>
      vi.waitFor(async () => {
        const outcome = await rig.gateway.send(outgoing)
        expect(outcome.kind).toBe('accepted')
        return outcome
      }, SOON)

    fate('accept', 'accepts a message, and the peer has its text, sign for sign', async () => {
      for (const text of [
        'Visit at 9:30. €5 [A] {b} ~ @ £',
        'Vu à l’hôpital: ç, œ, 😀',
        `${'Long words. '.repeat(26)}€`,
        `${'Ж'.repeat(66)}😀${'Ж'.repeat(66)}`,
      ]) {
        const before = (await taken(FATES.accept)).length
        expect((await rig.gateway.send(make(FATES.accept, text))).kind).toBe('accepted')
        await vi.waitFor(async () => expect((await taken(FATES.accept)).slice(before)).toEqual(seen([text])), SOON)
      }
    })

    it.skipIf(silent)('hears that a message was delivered', async () => {
      const outgoing = make(FATES.accept, 'x'.repeat(200))
      const outcome = await rig.gateway.send(outgoing)
      await vi.waitFor(() => expect(receiptsOf(outgoing, outcome).map((one) => one.state)).toEqual(['delivered']), SOON)
    })

    fate('undelivered', 'hears that a message could not be delivered', async () => {
      const outgoing = make(FATES.undelivered)
      const outcome = await rig.gateway.send(outgoing)
      await vi.waitFor(
        () => expect(receiptsOf(outgoing, outcome).map((one) => one.state)).toEqual(['undelivered']),
        SOON,
      )
    })

    fate('reject', 'says that a message was rejected for good', async () => {
      const outgoing = make(FATES.reject)
      const outcome = await rig.gateway.send(outgoing)
      expect(outcome.kind).toBe(rejectsByReceipt ? 'accepted' : 'rejected')
      const receipts = rejectsByReceipt ? ['undelivered'] : []
      await vi.waitFor(() => expect(receiptsOf(outgoing, outcome).map((one) => one.state)).toEqual(receipts), SOON)
      expect(await taken(FATES.reject)).toEqual([])
    })

    fate('later', 'says that a message was not accepted for now', async () => {
      expect((await rig.gateway.send(make(FATES.later))).kind).toBe('later')
      expect(await taken(FATES.later)).toEqual([])
    })

    fate('slow', 'waits for an answer that comes late', async () => {
      const outgoing = make(FATES.slow)
      const outcome = await rig.gateway.send(outgoing)
      expect(outcome.kind).toBe('accepted')
      if (!silent) await vi.waitFor(() => expect(receiptsOf(outgoing, outcome)).toHaveLength(1), SOON)
    })

    fate('twice', 'is not misled by an answer and a receipt that come twice', async () => {
      const [twice, next] = [make(FATES.twice), make(FATES.noReceipt)]
      const outcome = await rig.gateway.send(twice)
      expect(outcome.kind).toBe('accepted')
      const after = await accepted(next)
      await vi.waitFor(() => expect(receiptsOf(twice, outcome)).toHaveLength(2), SOON)
      expect(receiptsOf(next, after)).toEqual([])
      if (outcome.kind === 'accepted' && outcome.ref !== undefined)
        expect(after).not.toMatchObject({ ref: outcome.ref })
    })

    fate('noReceipt', 'accepts a message whose receipt is lost', async () => {
      const [lost, witness] = [make(FATES.noReceipt), make(FATES.accept)]
      const outcome = await accepted(lost)
      const other = await rig.gateway.send(witness)
      await vi.waitFor(() => expect(receiptsOf(witness, other)).toHaveLength(1), SOON)
      expect(receiptsOf(lost, outcome)).toEqual([])
    })

    fate('earlyReceipt', 'knows whose a receipt is that comes before the answer', async () => {
      const outgoing = make(FATES.earlyReceipt)
      const outcome = await rig.gateway.send(outgoing)
      expect(outcome.kind).toBe('accepted')
      await vi.waitFor(() => expect(receiptsOf(outgoing, outcome).map((one) => one.state)).toEqual(['delivered']), SOON)
    })

    fate(
      'drop',
      'does not know what became of a message when the connection drops, and never sends it again by itself',
      async () => {
        expect((await rig.gateway.send(make(FATES.drop, 'dropped'))).kind).toBe('unknown')
        await accepted(make(FATES.noReceipt))
        expect(await taken(FATES.drop)).toEqual(seen(['dropped']))
      },
    )

    fate('silent', 'does not know what became of a message when no answer comes', async () => {
      expect((await rig.gateway.send(make(FATES.silent, 'silence'))).kind).toBe('unknown')
      await accepted(make(FATES.noReceipt))
      expect(await taken(FATES.silent)).toEqual(seen(['silence']))
    })

    // What a call brings back are keys, not texts; e-mail brings nothing back.
    const texts = voice || mail ? () => {} : it
    const keys = voice ? it : () => {}

    texts('hears what the patient says, sign for sign, from her number', async () => {
      for (const text of [
        'STOP',
        'Règles hier, 100 € [oui]',
        'ça a commencé 😀',
        `${'je ne sais pas. '.repeat(12)}fin`,
      ]) {
        const before = rig.ears.heards.length
        await rig.say!(text)
        await vi.waitFor(() => expect(rig.ears.heards.slice(before).map((one) => one.text)).toEqual([text]), SOON)
        expect(rig.ears.heards.at(-1)).toMatchObject({ gateway: rig.gateway.name, from: PATIENT })
      }
      expect(new Set(rig.ears.heards.map((one) => one.key)).size).toBe(rig.ears.heards.length)
    })

    keys('hears which key was pressed in a call, once, also when it could not be stored at first', async () => {
      for (const refusals of [0, 1]) {
        const outgoing = make(FATES.accept)
        rig.ears.refuse(refusals)
        const outcome = await rig.gateway.send(outgoing)
        expect(outcome.kind).toBe('accepted')
        const answers = () => rig.ears.answereds.filter(({ messageId }) => messageId === outgoing.id)
        await vi.waitFor(() => expect(receiptsOf(outgoing, outcome)).toHaveLength(1), SOON)
        expect(answers().map(({ gateway, pressed }) => [gateway, pressed.meaning])).toEqual([
          [rig.gateway.name, 'confirm'],
        ])
      }
    })

    it.skipIf(mail)('is told again what could not be stored', async () => {
      if (!voice) {
        const before = rig.ears.heards.length
        rig.ears.refuse(1)
        await rig.say!('my period started')
        await vi.waitFor(
          () => expect(rig.ears.heards.slice(before).map((one) => one.text)).toEqual(['my period started']),
          SOON,
        )
      }
      if (silent) return
      rig.ears.refuse(1)
      const outgoing = make(FATES.accept)
      const outcome = await rig.gateway.send(outgoing)
      await vi.waitFor(() => expect(receiptsOf(outgoing, outcome)).toHaveLength(1), SOON)
    })

    it('sends nothing that has lost its worth', async () => {
      const late = { ...make(FATES.accept, 'too late'), notAfter: new Date(Date.now() - 1) }
      const before = (await taken(FATES.accept)).length
      expect(await rig.gateway.send(late)).toEqual({ kind: 'rejected', code: 'expired' })
      expect(await taken(FATES.accept)).toHaveLength(before)
    })

    // These two come last: a throttled gateway may pause, and a stopped one is over.
    fate('throttle', 'says that the peer finds it too fast', async () => {
      const outcome = await rig.gateway.send(make(FATES.throttle))
      expect(outcome.kind).toBe('throttled')
      expect(await taken(FATES.throttle)).toEqual([])
    })

    it('finishes what is under way before it stops, and sends nothing afterwards', async () => {
      const slow = 'slow' in cannot ? FATES.accept : FATES.slow
      await accepted(make(FATES.noReceipt))
      const sending = rig.gateway.send(make(slow, 'the last'))
      await rig.gateway.stop()
      expect((await sending).kind).toBe('accepted')
      await vi.waitFor(async () => expect(await taken(slow)).toEqual(expect.arrayContaining(seen(['the last']))), SOON)
      const before = (await taken(FATES.accept)).length
      expect((await rig.gateway.send(make(FATES.accept, 'after'))).kind).toBe('later')
      expect(await taken(FATES.accept)).toHaveLength(before)
    })
  })
}

/** Whether a receipt is this message's: by our id, or by the peer's reference that we were given. */
function concerns(receipt: Receipt, outgoing: Outgoing, outcome: SendOutcome | undefined): boolean {
  if (receipt.messageId !== undefined) return receipt.messageId === outgoing.id
  return outcome?.kind === 'accepted' && receipt.ref !== undefined && receipt.ref === outcome.ref
}
