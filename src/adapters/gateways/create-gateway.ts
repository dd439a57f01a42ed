import { parse } from 'yaml'
import * as z from 'zod'
import { badInput } from '../../domain/failure.ts'
import type { CallbackGateway, Gateway } from '../../flows/ports/gateway.ts'
import type { GatewayMemory } from '../../flows/ports/gateway-memory.ts'
import { gatewayName, readDescribed } from './described.ts'
import { Failover } from './failover.ts'
import { createHttpGateway } from './http/http-gateway.ts'
import { createModemGateway } from './modem/modem-gateway.ts'
import { createPocketGateway } from './pocket/pocket-gateway.ts'
import { createSipGateway } from './sip/sip-gateway.ts'
import { createSmppGateway } from './smpp/smpp-gateway.ts'
import { createSmtpGateway } from './smtp/smtp-gateway.ts'
import { createVoiceHttpGateway } from './voice-http/voice-http-gateway.ts'
import { yamlFault } from './read-yaml.ts'
import { withBreaker } from './with-breaker.ts'

export interface GatewayDeps {
  clock: { now(): Date }
  random: () => number
  /** Runs work later by the service's clock. */
  after: (ms: number, work: () => Promise<void>) => void
  /** Resolves the NAME of an `env:NAME`. */
  secret: (name: string) => string | undefined
  /** What outlives the process, and is shared with other workers. */
  memory: GatewayMemory
  /** Told when a connection is refused or lost, and when it is there. Codes only. */
  tell?: (what: 'gateway-down' | 'gateway-up', facts: { gateway: string; code?: string }) => void
  /**
   * Public address of all webhooks, e.g. `https://clinic.example/gateways`; `/NAME/receipt` and `/NAME/reply` are
   * added.
   */
  callbackUrl?: string
}

type Described = Record<string, unknown>
type Make = (described: Described, deps: GatewayDeps, within?: string) => Gateway

/** Every kind of gateway. A new one is added here, and to the contract suite in tests/gateways. */
const KINDS: Record<string, Make> = {
  pocket: ({ name }, deps) => createPocketGateway({ ...deps, ...(typeof name === 'string' && { name }) }),
  http: (described, deps, within) =>
    withBreaker(createHttpGateway(described, { ...deps, ...addressOf(described, deps, within) }), deps),
  smpp: (described, deps, within) => withBreaker(createSmppGateway(described, { ...deps, within }), deps),
  'voice-http': (described, deps, within) =>
    withBreaker(createVoiceHttpGateway(described, { ...deps, ...addressOf(described, deps, within) }), deps),
  modem: (described, deps) => withBreaker(createModemGateway(described, deps), deps),
  smtp: (described, deps) => withBreaker(createSmtpGateway(described, deps), deps),
  sip: (described, deps) => withBreaker(createSipGateway(described, deps), deps),
  failover: (described, deps) => createFailover(described, deps),
}

/**
 * Makes the gateway that a configuration describes, without connecting it.
 *
 * @param described text of a YAML or JSON file with a `kind`, or its content.
 * @throws Failure `bad-input` with every fault of the description.
 */
export function createGateway(described: string | object, deps: GatewayDeps): Gateway {
  return make(typeof described === 'string' ? readYaml(described) : described, deps)
}

/** The name in a description; undefined where there is none to read. */
export function nameOf(text: string): string | undefined {
  try {
    return String((readYaml(text) as Described).name)
  } catch {
    return undefined
  }
}

/** Whether the peer of this gateway calls us back over HTTP. */
export function takesCallbacks(gateway: Gateway): gateway is CallbackGateway {
  return 'callback' in gateway
}

function make(content: unknown, deps: GatewayDeps, within?: string): Gateway {
  if (typeof content !== 'object' || content === null)
    badInput('gateway', 'A gateway is described by a YAML or JSON object with a kind.')
  const kind = String((content as Described).kind)
  if (!Object.hasOwn(KINDS, kind))
    badInput('kind', `There is no gateway of this kind. Kinds are: ${Object.keys(KINDS).join(', ')}.`)
  return KINDS[kind]!(content as Described, deps, within)
}

/** The part of a failover shares the addresses of the whole. */
function addressOf(
  { name }: Described,
  { callbackUrl }: GatewayDeps,
  within?: string,
): { callbackUrl?: string; via?: string } {
  if (callbackUrl === undefined) return {}
  return within === undefined
    ? { callbackUrl: `${callbackUrl}/${name}` }
    : { callbackUrl: `${callbackUrl}/${within}`, via: String(name) }
}

const failover = z.strictObject({
  kind: z.literal('failover'),
  name: gatewayName,
  /** Whole descriptions, in the order in which they are tried. */
  through: z.array(z.looseObject({ kind: z.string(), name: z.string() })).min(2, 'Name at least two gateways.'),
})

function createFailover(described: Described, deps: GatewayDeps): Gateway {
  const { name, through } = readDescribed(failover, described)
  if (new Set(through.map((one) => one.name)).size < through.length)
    badInput('through', 'Give each gateway a name of its own.')
  return new Failover(
    name,
    through.map((one) => make(one, deps, name)),
  )
}

function readYaml(text: string): unknown {
  const fault = yamlFault(text)
  return fault === undefined ? parse(text) : badInput('gateway', `The description${fault}`)
}
