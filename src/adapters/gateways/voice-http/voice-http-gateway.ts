import * as z from 'zod'
import { badInput } from '../../../domain/failure.ts'
import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import { CALL_REPORTS, isCallReport, type CallReport } from '../../../domain/messages/voice/call-report.ts'
import type { CallScript, Step } from '../../../domain/messages/voice/call-script.ts'
import { codeOf, pressedOf, type Pressed } from '../../../domain/messages/voice/pressed.ts'
import { NOT_REACHED } from '../../../domain/messages/voice/retry-call.ts'
import { answerXml, heardXml, overXml, voicemailXml, voiceXml } from '../../../domain/messages/voice/voice-xml.ts'
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
import { gatewayName, readDescribed, secretOf, secretReference } from '../described.ts'
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
/** A call that ended, as its platform says, and of which its script has reported nothing. */
const NOT_TOLD = { state: 'undelivered', code: 'not-told' } as const
/** Media type of VoiceXML: RFC 4267. */
const VOICE_XML = 'application/voicexml+xml'

/**
 * Asks a voice platform to call. The platform fetches the call as VoiceXML from a signed address; the call itself posts
 * answers, and what became of it, to another. A receipt of kind `http` tells only why nobody was called: a call that
 * ended says nothing of what was heard in it.
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
    const script = await ears.script!(grant.messageId, grant.purpose === 'answer' ? 'go-on' : 'begin')
    if (grant.purpose === 'answer') return this.#take(grant, callback, script, ears)
    // It was withdrawn, or is over: nothing is said.
    if (script === null) return { status: 404, body: '' }
    const answers = this.#address(grant, 'answer')
    return document(grant.purpose === 'voicemail' ? voicemailXml(script, answers) : voiceXml(script, answers))
  }

  /** It counts also when its call is known to be over: only what is said in return is then nothing. */
  async #take(grant: Grant, callback: Callback, script: CallScript | null, ears: InboundHandlers): Promise<Answer> {
    const told = toldIn(callback)
    if (told === undefined) return { status: 400, body: '' }
    const { pressed, happened } = told
    const { messageId } = grant
    const [gateway, at] = [this.name, this.#deps.clock.now()]
    const key = pressed && `${messageId}/${codeOf(pressed)}`
    const follows = (key && (await ears.keyPressed?.({ gateway, key, messageId, pressed, at }))) || null
    await ears.receipt({ gateway, messageId, ...CALL_REPORTS[happened], at })
    if (script === null) return { status: 204, body: '' }
    const answers = this.#address(grant, 'answer')
    if (pressed) return document(answerXml(follows ?? thanks(script, pressed), script, answers))
    return document(happened === 'heard' ? heardXml(script, answers) : overXml(script))
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

  /** What was told is known from the call itself; who tells of its end without that has told nobody anything. */
  #translated({ code, ...receipt }: Receipt): Receipt {
    if (receipt.state === 'delivered' || code === undefined) return { ...receipt, ...NOT_TOLD }
    return { ...receipt, code: this.#call.codes[code] ?? code }
  }
}

/** Makes the gateway that a description describes. @throws Failure `bad-input` with every fault of it. */
export function createVoiceHttpGateway(raw: unknown, deps: HttpGatewayDeps): CallbackGateway {
  const { signing, codes, ...described } = readDescribed(callPart, raw)
  const secret = secretOf(described.name, signing, deps.secret)
  return new VoiceHttpGateway({ name: described.name, codes, secret }, described, deps)
}

function document(body: string): Answer {
  return { status: 200, body, contentType: VOICE_XML }
}

/** What a call posts: an answer, a report, or both; undefined for anything else. */
function toldIn({ method, body }: Callback): { pressed?: Pressed; happened: CallReport } | undefined {
  const posted = new URLSearchParams(method === 'POST' ? body.toString('utf8') : '')
  const [word, happened] = [posted.get('pressed'), posted.get('happened') ?? 'other-key']
  const pressed = word === null ? undefined : pressedOf(word)
  if (!isCallReport(happened) || (pressed === undefined && (word !== null || !posted.has('happened')))) return undefined
  return { happened, ...(pressed && { pressed }) }
}

/** The thanks that the script has for this answer. */
function thanks({ steps }: CallScript, pressed: Pressed): Step {
  const acts = Object.values(steps).flatMap(({ keys }) => Object.values(keys))
  const found = acts.flatMap((act) => ('answer' in act && codeOf(act.answer) === codeOf(pressed) ? [act.then] : []))
  return { say: found.slice(0, 1), keys: {} }
}
