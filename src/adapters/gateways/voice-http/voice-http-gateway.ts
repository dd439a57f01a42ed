import * as z from 'zod'
import { badInput } from '../../../domain/failure.ts'
import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type { CallScript, Step } from '../../../domain/messages/voice/call-script.ts'
import { codeOf, pressedOf, type Pressed } from '../../../domain/messages/voice/pressed.ts'
import { NOT_REACHED } from '../../../domain/messages/voice/retry-call.ts'
import { answerXml, voicemailXml, voiceXml } from '../../../domain/messages/voice/voice-xml.ts'
import type {
  Callback,
  CallbackGateway,
  InboundHandlers,
  Gateway,
  Outgoing,
  Receipt,
  SendOutcome,
  Turn,
} from '../../../flows/ports/gateway.ts'
import { gatewayName, readDescribed, secretReference } from '../described.ts'
import { createHttpGateway, type HttpGatewayDeps } from '../http/http-gateway.ts'
import { grantOf, signedAddress, type Grant, type Purpose } from './signed-address.ts'

/** What is said beyond a description of kind `http`. */
const callPart = z.looseObject({
  kind: z.literal('voice-http'),
  name: gatewayName,
  /** Signs the addresses of scripts and answers. */
  signing: secretReference,
  /** What the peer calls the ways in which the patient was not reached. */
  codes: z.record(z.string(), z.enum([...NOT_REACHED] as [string, ...string[]])).default({}),
  replies: z.never('A call brings no texts back: leave out replies.').optional(),
})

type CallPart = Pick<z.infer<typeof callPart>, 'name' | 'codes'> & { secret: string }
type Answer = Awaited<ReturnType<CallbackGateway['callback']>>

/** Addresses outlive the message, for a call that begins at its last moment. */
const CALL_SECONDS = 600
/** Media type of VoiceXML: RFC 4267. */
const VOICE_XML = 'application/voicexml+xml'

/**
 * Asks a voice platform to call. The platform fetches the call as VoiceXML from a signed address and posts answers to
 * another; what came of the call comes as a receipt of kind `http`, signed as that says.
 */
class VoiceHttpGateway implements CallbackGateway {
  readonly name: string
  readonly channels = ['voice'] as const
  readonly onUnknown: Gateway['onUnknown']
  readonly receipts: boolean
  readonly #call: CallPart
  readonly #deps: HttpGatewayDeps
  readonly #base: string
  readonly #orders: CallbackGateway
  #ears: InboundHandlers | undefined

  constructor(call: CallPart, described: object, deps: HttpGatewayDeps) {
    this.#call = call
    this.#deps = deps
    this.#base =
      deps.callbackUrl ?? badInput('callbackUrl', 'Scripts are fetched from the service: set its public address.')
    this.#orders = createHttpGateway(
      { ...described, kind: 'http', channels: ['voice'] },
      { ...deps, callFields: (message) => this.#fieldsOf(message) },
    )
    this.name = call.name
    this.onUnknown = this.#orders.onUnknown
    this.receipts = this.#orders.receipts !== false
  }

  async start(ears: InboundHandlers): Promise<void> {
    this.#ears = ears
    await this.#orders.start({ ...ears, receipt: (receipt) => ears.receipt(this.#translated(receipt)) })
  }

  turnAtOnce(channel: Channel): Turn | undefined {
    return this.#orders.turnAtOnce!(channel)
  }

  async turn(channel: Channel, until: AbortSignal): Promise<Turn | undefined> {
    return this.#orders.turn!(channel, until)
  }

  async send(message: Outgoing, turn?: Turn): Promise<SendOutcome> {
    return message.voice === undefined ? { kind: 'rejected', code: 'no-script' } : this.#orders.send(message, turn)
  }

  async stop(): Promise<void> {
    await this.#orders.stop()
    this.#ears = undefined
  }

  async callback(callback: Callback): Promise<Answer> {
    if (callback.path !== 'call') return this.#orders.callback(callback)
    const grant = grantOf(callback, this.#call.secret, this.#deps.clock.now())
    if (grant === undefined) return { status: 401, body: '' }
    if (this.#ears?.script === undefined) return { status: 503, body: '' }
    // What cannot be read or stored now should be asked for again.
    return this.#serve(grant, callback, this.#ears).catch(() => ({ status: 503, body: '' }))
  }

  async #serve(grant: Grant, callback: Callback, ears: InboundHandlers): Promise<Answer> {
    const script = await ears.script!(grant.messageId)
    if (grant.purpose === 'answer') return this.#take(grant, callback, script, ears)
    // It was withdrawn, or is over: nothing is said.
    if (script === null) return { status: 404, body: '' }
    return document(
      grant.purpose === 'voicemail' ? voicemailXml(script) : voiceXml(script, this.#address(grant, 'answer')),
    )
  }

  /** An answer counts also when its call is known to be over: only what is said in return is then nothing. */
  async #take(
    grant: Grant,
    { method, body }: Callback,
    script: CallScript | null,
    ears: InboundHandlers,
  ): Promise<Answer> {
    const pressed =
      method === 'POST' ? pressedOf(new URLSearchParams(body.toString('utf8')).get('pressed') ?? '') : undefined
    if (pressed === undefined) return { status: 400, body: '' }
    const { messageId } = grant
    const key = `${messageId}/${codeOf(pressed)}`
    const follows =
      (await ears.keyPressed?.({ gateway: this.name, key, messageId, pressed, at: this.#deps.clock.now() })) ?? null
    if (script === null) return { status: 204, body: '' }
    return document(answerXml(follows ?? thanks(script, pressed), script, this.#address(grant, 'answer')))
  }

  #fieldsOf({ id: messageId, notAfter, voice }: Outgoing): Record<string, string> {
    const grant = { messageId, until: Math.floor(notAfter.getTime() / 1000) + CALL_SECONDS }
    return {
      script_url: this.#address(grant, 'script'),
      voicemail_url: this.#address(grant, 'voicemail'),
      voicexml: voiceXml(voice!, this.#address(grant, 'answer')),
    }
  }

  #address(grant: Omit<Grant, 'purpose'>, purpose: Purpose): string {
    return signedAddress(this.#base, { ...grant, purpose }, this.#call.secret, this.#deps.via)
  }

  #translated(receipt: Receipt): Receipt {
    const code = receipt.code === undefined ? undefined : this.#call.codes[receipt.code]
    return code === undefined ? receipt : { ...receipt, code }
  }
}

/** Makes the gateway that a description describes. @throws Failure `bad-input` with every fault of it. */
export function createVoiceHttpGateway(raw: unknown, deps: HttpGatewayDeps): CallbackGateway {
  const { signing, codes, ...described } = readDescribed(callPart, raw)
  const variable = signing.slice('env:'.length)
  const secret = deps.secret(variable)
  if (!secret) return badInput(variable, `Gateway ${described.name} needs ${variable} in the environment.`)
  return new VoiceHttpGateway({ name: described.name, codes, secret }, described, deps)
}

function document(body: string): Answer {
  return { status: 200, body, contentType: VOICE_XML }
}

/** The thanks that the script has for this answer. */
function thanks({ steps }: CallScript, pressed: Pressed): Step {
  const acts = Object.values(steps).flatMap(({ keys }) => Object.values(keys))
  const found = acts.flatMap((act) => ('answer' in act && codeOf(act.answer) === codeOf(pressed) ? [act.then] : []))
  return { say: found.slice(0, 1), keys: {} }
}
