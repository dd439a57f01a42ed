import { badInput, Failure } from '../../domain/failure.ts'
import { measureSms } from '../../domain/messages/texts/sms.ts'
import { toMailAddress } from '../../domain/patients/mail-address.ts'
import { testCall } from '../../domain/messages/voice/test-call.ts'
import type { Deps } from '../ports/deps.ts'
import type { Gateway, Outgoing, SendOutcome } from '../ports/gateway.ts'
import { REGION, type Hand } from './stop-sending.ts'

/** What a test says: it names no clinic and asks for nothing. */
export const TEST_TEXT = 'Test of the message gateway. There is nothing to do.'
const TEST_SUBJECT = 'Test of the message gateway'

const VALID_MS = 3_600_000

/** What an operator should make of each outcome. */
const MEANINGS: Record<SendOutcome['kind'], string> = {
  accepted: 'the provider has taken the message',
  rejected: 'the provider refuses this message for good. Check the number or address, the sender and the text',
  later: 'the provider cannot be reached, or takes nothing now. Check host, port and firewall',
  throttled: 'the provider finds us too fast. Lower ratePerSecond or window',
  misconfigured: 'the provider refuses who we are. Check user, password or token, or the certificate',
  unknown: 'no answer came after the message had gone out. It may arrive all the same',
}

/** What to mend, where the code of an outcome says more than its kind. */
const MENDS: ReadonlyMap<string, string> = new Map([
  ['not-started', 'there is no connection yet. Check that the gateway has been started'],
  [
    'bind-timeout',
    'the connection is there, but nobody answers the bind. Check that this port speaks SMPP, and whether it wants TLS (tls); a slow provider needs a longer answerMs',
  ],
  [
    'bind-lost',
    'the provider ends the connection at the bind. Check whether this port wants TLS (tls), and that the provider lets this machine in',
  ],
  [
    'connect-timeout',
    'no connection is made in time. Check host, port and firewall; with TLS, that this port speaks TLS',
  ],
  [
    'econnreset',
    'the provider ends the connection at once. Check whether this port speaks TLS (tls), and that the provider lets ' +
      'this machine in',
  ],
  ['eproto', 'the other side does not speak TLS. Leave tls out (http: instead of https:), or take its port for TLS'],
  [
    'hpe_invalid_constant',
    'the other side does not speak HTTP at this port. Check the port, and whether it wants https:',
  ],
  ['econnrefused', 'nobody listens there. Check host and port'],
  ['enotfound', 'there is no host of this name. Check its spelling'],
  [
    'egress_refused',
    'this address is never called: it is link-local, a metadata address or reserved. Write the address of the provider',
  ],
  [
    'tls-untrusted',
    'the certificate is of no authority that is trusted. Put the file of the authority in tls.caFile, or ask the ' +
      'provider which it is; nothing was sent',
  ],
  [
    'tls-name',
    'the certificate is of another name. Write the name that it bears in tls.serverName, if that is the provider; ' +
      'nothing was sent',
  ],
  ['tls-expired', 'the certificate of the provider is not valid now. Check the clock of this machine, then tell them'],
  [
    'tls-none',
    'the other side does not speak TLS at this port. Take its port for TLS (for calls often 5061, for e-mail 465), or ' +
      'set transport: tcp or udp (for e-mail tls.mode: starttls)',
  ],
  [
    'tls-refused',
    'the other side ends TLS before it stands. Check that this port is for TLS 1.2 or newer, and whether it wants a ' +
      'certificate of ours, which cannot be given',
  ],
  [
    'trunk-lost',
    'the trunk ends the connection without an answer. Check whether this port wants TLS (transport: tls), and that ' +
      'the trunk lets this machine in',
  ],
  [
    'trunk-silent',
    'the trunk answers nothing. Check host, port and firewall, and whether it wants TCP or TLS (transport) instead of ' +
      'datagrams',
  ],
  [
    'media-refused',
    'the trunk takes no sound of the kind that is offered. If it wants SRTP, set media: srtp and transport: tls; if ' +
      'it takes none, media: plain',
  ],
  ['media-encrypted', 'the other side wants sound encrypted. Set media: srtp, with transport: tls'],
  [
    'media-plain',
    'the other side wants sound in the clear, so the call was ended. Have SRTP switched on there, or set media: plain',
  ],
  ['media-keys', 'the other side wants other keys of SRTP. Have it use SDES with AES_CM_128_HMAC_SHA1_80, without MKI'],
  ['media-ipv6', 'the other side sends its sound by IPv6 only. Have it use IPv4, or set IPv6 addresses for both sides'],
  ['media-ipv4', 'the other side sends its sound by IPv4 only. Have it use IPv6, or set IPv4 addresses for both sides'],
  ['media-codec', 'the other side speaks neither PCMU nor PCMA (G.711). Have one of them switched on there'],
  ['media-none', 'the other side answers without sound. Check what the trunk does with calls to this number'],
  [
    'greeting-timeout',
    'the connection is there, but nobody greets. Check that this port speaks SMTP, and whether it wants TLS from the ' +
      'beginning (tls.mode: implicit)',
  ],
  ['not-smtp', 'what answers there does not speak SMTP. Check host and port'],
  ['connection-lost', 'the server ends the connection without an answer. Check that it lets this machine in'],
  ['tls-lost', 'the connection ends before TLS stands. Check that the server speaks TLS 1.2 or newer'],
  [
    'no-starttls',
    'the server knows no STARTTLS at this port, so nothing was sent. Take another port of it, or tls.mode: implicit ' +
      '(often port 465)',
  ],
  ['auth-refused', 'the server refuses user or password. Check auth.user, and the variable that auth.password names'],
  [
    'auth-none',
    'the server lets nobody sign in here, so the password was not sent. Take its port for submission (587 or 465), or ' +
      'leave auth out',
  ],
  ['auth-needed', 'the server wants to know who sends. Describe auth: user and password'],
  ['sender-refused', 'the server refuses the sender. Check from.address, and that this user may send under it'],
  ['bad-address', 'this is no address that every server takes. Before the @ only ASCII signs can be used'],
  ['not-allowed', 'this gateway may not send there: see allow in its description'],
  ['no-baresip', 'the engine is not installed: apt-get install baresip-core'],
  ['breaker-open', 'too many messages failed before this one. Wait a while'],
  ['busy', 'the telephone is busy; the gateway works. Try again, or with another telephone'],
  ['no-answer', 'nobody picks up; the gateway works. Try again, or with another telephone'],
  ['unavailable', 'the telephone cannot be reached now; the gateway works. Try another telephone'],
])

/** One message of a test, by the first channel of the gateway. @param id unique */
export function testMessage(
  { channels }: Pick<Gateway, 'channels'>,
  { id, to, text, now }: Pick<Outgoing, 'id' | 'to' | 'text'> & { now: Date },
): Outgoing {
  const [channel] = channels
  const notAfter = new Date(now.getTime() + VALID_MS)
  const more = { voice: { voice: testCall(text) }, email: { subject: TEST_SUBJECT }, sms: {} }[channel!]
  return { id, channel: channel!, to, text, language: 'en', notAfter, ...more }
}

/** "52 characters, GSM-7, 1 segment" */
export function lengthWords(text: string): string {
  const { encoding, segments } = measureSms(text)
  return `${text.length} characters, ${encoding}, ${segments} segment${segments === 1 ? '' : 's'}`
}

/** What an outcome means, with the provider's own id or code. */
export function outcomeWords(outcome: SendOutcome): string {
  const meaning = MEANINGS[outcome.kind]
  if (outcome.kind !== 'accepted') return `${MENDS.get(outcome.code) ?? meaning} (${outcome.code})`
  return outcome.ref === undefined ? meaning : `${meaning}; its id is ${outcome.ref}`
}

/** Where the test of a gateway goes, as it was typed: an address where it carries e-mail. @throws bad-input */
export function testAddressee({ channels }: Pick<Gateway, 'channels'>, to: string): string {
  return channels[0] === 'email' ? toMailAddress(to, 'to') : testNumber(to)
}

/** A number in international form, without the signs that people write between its digits. @throws bad-input */
function testNumber(to: string): string {
  const bare = to.replace(/[\s().-]/g, '')
  return /^\+[1-9]\d{6,14}$/.test(bare)
    ? bare
    : badInput('to', 'Write the number in international form, as +16135550142.')
}

/** One step of a test, and what came of it in a sentence. */
export interface TestStep {
  step: string
  says: string
}

/**
 * Sends the test sentence through a gateway that is in use, and writes down that it did. Receipts go the usual way, so
 * they are not waited for: whoever holds the telephone sees it arrive.
 * @param to as it was typed
 * @returns each step in words
 * @throws bad-input for a number that is none or wants no messages, a gateway that reaches nobody or carries no texts;
 *   too-late while all sending is stopped
 */
export async function tryGateway(deps: Deps, name: string, to: string, hand: Hand): Promise<TestStep[]> {
  const gateway = gatewayToTry(deps, name)
  const number = testNumber(to)
  await refuseUnwanted(deps, number)
  const message = testMessage(
    { channels: ['sms'] },
    { id: deps.newId('t'), to: number, text: TEST_TEXT, now: deps.clock.now() },
  )
  const outcome = await gateway.send(message)
  const facts = { gateway: name, outcome: outcome.kind, ...('code' in outcome && { code: outcome.code }) }
  await deps.access.transact((tx) =>
    tx.audit.append([
      {
        at: deps.clock.now(),
        actorKind: hand.kind,
        actorId: hand.id,
        what: 'gateway-tested',
        subjects: [],
        clinicId: null,
        facts,
      },
    ]),
  )
  return [
    { step: 'Text', says: lengthWords(TEST_TEXT) },
    { step: 'Handed over', says: notHere(outcome) ?? outcomeWords(outcome) },
    { step: 'Arrival', says: arrival(outcome) },
  ]
}

function gatewayToTry({ gateways }: Deps, name: string): Gateway {
  const gateway = gateways.get(name) ?? badInput('gateway', 'There is no gateway of this name.')
  if (gateway.simulated === true)
    badInput('gateway', 'This one leads to simulated phones: no real telephone can be reached through it.')
  if (!gateway.channels.includes('sms'))
    badInput('gateway', `This one carries no texts. Test it by the command: npx daysix gateway-check ${name} --to …`)
  return gateway
}

async function refuseUnwanted({ store, access }: Deps, number: string): Promise<void> {
  if ((await access.read.sendingStops.list()).some(({ scope }) => scope === REGION))
    throw new Failure('too-late', { field: 'gateway', message: 'All sending is stopped. Let it go on first.' })
  if (await store.read.optOuts.has(number))
    badInput('to', 'Whoever has this number wants no messages. Use a telephone of yours.')
}

/** Where the parts of the service are apart, not every part holds every connection. */
function notHere(outcome: SendOutcome): string | null {
  if (outcome.kind !== 'later' || outcome.code !== 'not-started') return null
  return 'this part of the service does not hold the connection. Test it by the command: npx daysix gateway-check'
}

function arrival({ kind }: SendOutcome): string {
  if (kind === 'accepted') return 'look at that telephone: it should be there within a minute'
  return kind === 'unknown' ? 'look at that telephone: it may have arrived' : 'nothing arrives'
}
