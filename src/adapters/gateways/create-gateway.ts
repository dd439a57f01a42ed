import { parse } from 'yaml'
import { badInput } from '../../domain/failure.ts'
import type { CallbackGateway, Gateway } from '../../flows/gateway.ts'
import { createHttpGateway } from './http/http-gateway.ts'
import { createPocketGateway } from './pocket/pocket-gateway.ts'

export interface GatewayDeps {
  clock: { now(): Date }
  random: () => number
  /** Runs work later by the service's clock. */
  after: (ms: number, work: () => Promise<void>) => void
  /** Resolves the NAME of an `env:NAME`. */
  secret: (name: string) => string | undefined
  /** Public address of all webhooks, e.g. `https://clinic.example/gateways`; `/NAME/receipt` and `/NAME/reply` are added. */
  callbackUrl?: string
}

type Described = Record<string, unknown>

/** Every kind of gateway. A new one is added here, and to the contract suite in tests/gateways. */
const KINDS: Record<string, (described: Described, deps: GatewayDeps) => Gateway> = {
  pocket: ({ name }, deps) => createPocketGateway({ ...deps, ...(typeof name === 'string' && { name }) }),
  http: (described, { callbackUrl, ...deps }) =>
    createHttpGateway(described, {
      ...deps,
      ...(callbackUrl !== undefined && { callbackUrl: `${callbackUrl}/${described.name}` }),
    }),
}

/**
 * Makes the gateway that a configuration describes, without connecting it.
 *
 * @param described text of a YAML or JSON file with a `kind`, or its content.
 * @throws Failure `bad-input` with every fault of the description.
 */
export function createGateway(described: string | object, deps: GatewayDeps): Gateway {
  const content: unknown = typeof described === 'string' ? readYaml(described) : described
  if (typeof content !== 'object' || content === null)
    badInput('gateway', 'A gateway is described by a YAML or JSON object with a kind.')
  const kind = String((content as Described).kind)
  const make = Object.hasOwn(KINDS, kind) ? KINDS[kind] : undefined
  if (make === undefined) badInput('kind', `There is no gateway of this kind. Kinds are: ${Object.keys(KINDS).join(', ')}.`)
  return make(content as Described, deps)
}

/** Whether the peer of this gateway calls us back over HTTP. */
export function takesCallbacks(gateway: Gateway): gateway is CallbackGateway {
  return 'callback' in gateway
}

function readYaml(text: string): unknown {
  try {
    return parse(text)
  } catch {
    return badInput('gateway', 'The file is not valid YAML or JSON. Check its indentation and quotes.')
  }
}
