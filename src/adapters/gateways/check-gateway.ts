import { testCall } from '../../domain/messages/voice/test-call.ts'
import { lengthWords, outcomeWords, testMessage } from '../../flows/messages/test-message.ts'
import type { InboundHandlers, Gateway, Outgoing, Receipt, SendOutcome } from '../../flows/ports/gateway.ts'

export interface CheckOptions {
  /** E.164 number, or address, that gets the test message. */
  to: string
  text: string
  /** How long a receipt is waited for. */
  waitMs: number
  /** Id of the message, unique. */
  id: string
  /** Told of each step: its name, and what came of it in a sentence. */
  tell: (step: string, says: string) => void
}

/**
 * Sends one message through a gateway and tells each step, so that an operator sees where it stops.
 *
 * @returns whether everything that can be checked is well: accepted, and delivered where the peer says so.
 */
export async function checkGateway(gateway: Gateway, options: CheckOptions): Promise<boolean> {
  const { tell } = options
  tell('description', `${gateway.channels.join(' and ')}; a message of unknown fate is ${policy(gateway)}`)
  const desk = new ReceiptDesk()
  const began = performance.now()
  await gateway.start(earsOf(desk, options))
  await gateway.attempted?.()
  tell('start', `started in ${seconds(began)}`)
  const message = testMessage(gateway, { ...options, now: new Date() })
  tell('message', sizeOf(message))
  const before = performance.now()
  const outcome = await gateway.send(message)
  tell('send', `${outcome.kind} in ${seconds(before)}: ${outcomeWords(outcome)}`)
  const delivered = outcome.kind === 'accepted' && (await awaitReceipt(gateway, outcome, desk, options))
  await gateway.stop()
  tell('stop', 'the connection is closed')
  return delivered
}

function sizeOf({ channel, text }: Outgoing): string {
  if (channel === 'email') return `${[...text].length} characters, as plain text`
  return channel === 'voice' ? 'a call that asks for key 1' : lengthWords(text)
}

function earsOf(desk: ReceiptDesk, { tell, text }: CheckOptions): InboundHandlers {
  return {
    receipt: async (receipt) => desk.take(receipt),
    message: async ({ text: said }) => tell('reply', `a reply of ${said.length} characters came in`),
    script: async () => testCall(text),
    keyPressed: async () => {
      tell('key', 'the key was heard')
      return null
    },
  }
}

/** Receipts that have come, and those who wait for one. */
class ReceiptDesk {
  readonly #come: Receipt[] = []
  #wake: () => void = () => {}

  take(receipt: Receipt): void {
    this.#come.push(receipt)
    this.#wake()
  }

  /** The next receipt, or undefined after `ms`. */
  async next(ms: number): Promise<Receipt | undefined> {
    if (this.#come.length === 0 && ms > 0) await this.#sleep(ms)
    return this.#come.shift()
  }

  #sleep(ms: number): Promise<void> {
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, ms)
      this.#wake = () => {
        clearTimeout(timer)
        resolve()
      }
    })
  }
}

async function awaitReceipt(
  gateway: Gateway,
  outcome: SendOutcome & { kind: 'accepted' },
  desk: ReceiptDesk,
  { tell, id, waitMs }: CheckOptions,
): Promise<boolean> {
  if (gateway.channels[0] === 'email') {
    tell('receipt', 'none comes by e-mail. Look at the mailbox, and among its unwanted letters')
    return true
  }
  if (gateway.receipts === false) {
    tell('receipt', 'this gateway is set up to ask for none')
    return true
  }
  const before = performance.now()
  for (let left = waitMs; left > 0; left = waitMs - (performance.now() - before)) {
    const receipt = await desk.next(left)
    if (receipt === undefined) break
    if (receipt.messageId === id || (receipt.ref !== undefined && receipt.ref === outcome.ref))
      return tellReceipt(receipt, before, tell)
    tell(
      'receipt',
      `one came for ${receipt.ref ?? 'another message'}, which is not ours. If it should be, check how the peer writes ids`,
    )
  }
  tell('receipt', `none came within ${Math.round(waitMs / 1000)} s. Check that the peer sends them, and where to`)
  return false
}

function tellReceipt({ state, code }: Receipt, before: number, tell: CheckOptions['tell']): boolean {
  tell('receipt', `${state} after ${seconds(before)}${code === undefined ? '' : ` (${code})`}`)
  return state === 'delivered'
}

function policy({ onUnknown }: Gateway): string {
  return onUnknown === 'resend' ? 'sent again, so that it may arrive twice' : 'left to a person'
}

function seconds(since: number): string {
  return `${((performance.now() - since) / 1000).toFixed(1)} s`
}
