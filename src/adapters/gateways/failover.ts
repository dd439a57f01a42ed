import type { Channel } from '../../domain/messages/texts/kinds.ts'
import { isAboutHer } from '../../domain/messages/voice/retry-call.ts'
import type {
  Callback,
  CallbackGateway,
  InboundHandlers,
  Gateway,
  GatewayHealth,
  Outgoing,
  SendOutcome,
  Turn,
} from '../../flows/ports/gateway.ts'

/** A turn with one of the members. */
interface MembersTurn extends Turn {
  member: Gateway
  turn: Turn | undefined
}

type Answer = Awaited<ReturnType<CallbackGateway['callback']>>

/** Certainly not accepted, and no fault of the message: another gateway may try. */
const PASS_ON: ReadonlySet<SendOutcome['kind']> = new Set(['later', 'misconfigured'])

/**
 * Several gateways as one: each message goes to the first that takes it. A message whose fate is unknown is never
 * passed on. References and receipts carry the name of the gateway they belong to (`first/4711`), so that
 * whoever keeps them needs to know only of the whole.
 */
export class Failover implements CallbackGateway {
  readonly name: string
  readonly channels: Gateway['channels']
  readonly onUnknown: Gateway['onUnknown']
  readonly receipts: boolean
  readonly simulated: boolean
  readonly #members: readonly Gateway[]

  /** @param members in the order in which they are tried; each is told apart by its name. */
  constructor(name: string, members: readonly Gateway[]) {
    this.name = name
    this.#members = members
    this.channels = [...new Set(members.flatMap((member) => member.channels))]
    this.onUnknown = members.every((member) => member.onUnknown === 'resend') ? 'resend' : 'ask-desk'
    this.receipts = members.every((member) => member.receipts !== false)
    this.simulated = members.every((member) => member.simulated === true)
  }

  async start(ears: InboundHandlers): Promise<void> {
    await Promise.all(this.#members.map((member) => member.start(this.#earsFor(ears))))
  }

  async attempted(): Promise<void> {
    await Promise.all(this.#members.map((member) => member.attempted?.()))
  }

  /** With the member that would be tried first and goes. A message that comes to another one has no turn there. */
  async turn(channel: Channel, until: AbortSignal): Promise<MembersTurn | undefined> {
    const member = this.#next(channel)
    if (!member?.turn) return member && { member, turn: undefined, release: () => {} }
    const turn = await member.turn(channel, until)
    return turn && { member, turn, release: () => turn.release() }
  }

  turnAtOnce(channel: Channel): MembersTurn | undefined {
    const member = this.#next(channel)
    if (!member?.turn) return member && { member, turn: undefined, release: () => {} }
    const turn = member.turnAtOnce?.(channel)
    return turn && { member, turn, release: () => turn.release() }
  }

  /** The one that would be tried first and goes. */
  #next(channel: Channel): Gateway | undefined {
    const able = this.#able(channel)
    return able.find((one) => one.health?.().ok !== false) ?? able[0]
  }

  async send(message: Outgoing, given?: Turn): Promise<SendOutcome> {
    const refusals: SendOutcome[] = []
    for (const member of this.#able(message.channel)) {
      const outcome = await member.send(message, turnWith(member, given))
      // Who does not pick up would only be rung again at once.
      if (!PASS_ON.has(outcome.kind) || isAboutHer(message, outcome)) return this.#marked(member, outcome)
      refusals.push(outcome)
    }
    return refusals.find(({ kind }) => kind === 'later') ?? refusals[0] ?? { kind: 'misconfigured', code: 'no-gateway' }
  }

  /** Known where one member knows it; never seen only when all can say so. */
  async lookUp(messageId: string): Promise<SendOutcome | 'never-seen'> {
    const unsure: SendOutcome = { kind: 'unknown', code: 'nobody-can-say' }
    let all: SendOutcome | 'never-seen' = 'never-seen'
    for (const member of this.#members) {
      const answer = member.lookUp ? await member.lookUp(messageId) : unsure
      if (answer !== 'never-seen' && answer.kind === 'accepted') return this.#marked(member, answer)
      if (answer !== 'never-seen') all = answer
    }
    return all
  }

  /** Callbacks say in `via` whom they are for. */
  async callback(callback: Callback): Promise<Answer> {
    const member = this.#members.find(({ name }) => name === callback.query.via)
    if (member === undefined || !('callback' in member)) return { status: 404, body: '' }
    return (member as CallbackGateway).callback(callback)
  }

  /** As good as its best member. */
  health(): GatewayHealth {
    const all = this.#members.map((member): GatewayHealth => member.health?.() ?? { ok: true })
    return all.find((health) => health.ok) ?? all[0] ?? { ok: true }
  }

  async stop(): Promise<void> {
    await Promise.all(this.#members.map((member) => member.stop()))
  }

  #able(channel: Channel): Gateway[] {
    return this.#members.filter((member) => member.channels.includes(channel))
  }

  #marked(member: Gateway, outcome: SendOutcome): SendOutcome {
    return outcome.kind === 'accepted' && outcome.ref !== undefined
      ? { ...outcome, ref: `${member.name}/${outcome.ref}` }
      : outcome
  }

  #earsFor(ears: InboundHandlers): InboundHandlers {
    return {
      receipt: ({ gateway, ref, ...receipt }) =>
        ears.receipt({ ...receipt, gateway: this.name, ...(ref !== undefined && { ref: `${gateway}/${ref}` }) }),
      message: (heard) => ears.message({ ...heard, gateway: this.name, key: `${heard.gateway}/${heard.key}` }),
      ...(ears.script && { script: (messageId, moment) => ears.script!(messageId, moment) }),
      ...(ears.keyPressed && {
        keyPressed: (answered) =>
          ears.keyPressed!({ ...answered, gateway: this.name, key: `${answered.gateway}/${answered.key}` }),
      }),
    }
  }
}

function turnWith(member: Gateway, given: Turn | undefined): Turn | undefined {
  return given !== undefined && 'member' in given && given.member === member ? (given as MembersTurn).turn : undefined
}
