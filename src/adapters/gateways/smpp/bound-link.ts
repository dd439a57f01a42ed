import type { SendOutcome } from '../../../flows/ports/gateway.ts'
import type { Link } from './link.ts'
import { connectLink, NoLink, type LinkOptions, type OnRequest } from './link.ts'
import type { Fields } from './pdu.ts'
import { refusal } from './status.ts'

export interface BoundLinkOptions extends LinkOptions {
  role: 'transceiver' | 'transmitter' | 'receiver'
  /** Fields of the bind request. */
  identity: Fields
  statuses: Parameters<typeof refusal>[1]
  reconnectMs: number
  reconnectMaxMs: number
  random: () => number
  onRequest: (pdu: Parameters<OnRequest>[0], link: Link) => Promise<number>
  onLost: (link: Link) => void
  /** Told when the connection does not stand, each time for another reason, and when it stands again. */
  onChange: (trouble: string | undefined) => void
}

const NOT_STARTED: SendOutcome = { kind: 'later', code: 'not-started' }

/**
 * Keeps one bound connection to the peer: connects, binds, and when it is lost does so again, with growing and
 * scattered pauses. Every attempt has a connection of its own. Where the peer refuses who we are, it is asked rarely.
 */
export class BoundLink {
  readonly #options: BoundLinkOptions
  #link: Link | undefined
  #trouble: SendOutcome = NOT_STARTED
  #stopped = false
  #wake: () => void = () => {}
  #running: Promise<void> | undefined
  #first: Promise<void> = Promise.resolve()
  #told: string | undefined

  constructor(options: BoundLinkOptions) {
    this.#options = options
  }

  /** The connection, while there is one. */
  get link(): Link | undefined {
    return this.#link?.open ? this.#link : undefined
  }

  /** Why there is none: what `send` has to answer. */
  get trouble(): SendOutcome {
    return this.#trouble
  }

  /** Resolves when the first attempt has ended, well or badly, or after `patienceMs`. */
  async start(patienceMs: number): Promise<void> {
    this.#stopped = false
    this.#first = new Promise<void>((resolve) => void (this.#running = this.#run(resolve)))
    const patience = new Promise<void>((resolve) => setTimeout(resolve, patienceMs).unref())
    await Promise.race([this.#first, patience])
  }

  /** Resolves when the first attempt has ended, however long that takes. */
  attempted(): Promise<void> {
    return this.#first
  }

  async stop(): Promise<void> {
    this.#stopped = true
    this.#wake()
    await this.#link?.unbind()
    await this.#running
    this.#trouble = NOT_STARTED
  }

  async #run(attempted: () => void): Promise<void> {
    let tries = 0
    while (!this.#stopped) {
      const link = await this.#attempt()
      if (link === undefined) this.#tell(codeOf(this.#trouble))
      else this.#link = link
      attempted()
      if (link !== undefined) {
        tries = 0
        await this.#hold(link)
      }
      if (!this.#stopped) await this.#pause(tries++)
    }
  }

  async #attempt(): Promise<Link | undefined> {
    try {
      const link = await connectLink(this.#options, (pdu): Promise<number> => this.#options.onRequest(pdu, link))
      return await this.#bind(link)
    } catch (error) {
      const code = error instanceof NoLink ? error.message : 'broken'
      this.#trouble = { kind: error instanceof NoLink && error.kind === 'untrusted' ? 'misconfigured' : 'later', code }
      return undefined
    }
  }

  async #bind(link: Link): Promise<Link | undefined> {
    const reply = await link.request(`bind_${this.#options.role}`, this.#options.identity)
    if (typeof reply === 'object' && reply.status === 0) return link
    link.destroy('not bound')
    this.#trouble =
      typeof reply === 'object'
        ? refusal(reply.status, this.#options.statuses)
        : { kind: 'later', code: `bind-${reply}` }
    return undefined
  }

  async #hold(link: Link): Promise<void> {
    this.#tell(undefined)
    if (this.#stopped) void link.unbind()
    const reason = await link.closed
    this.#link = undefined
    this.#trouble = { kind: 'later', code: `link-${reason}` }
    this.#options.onLost(link)
    if (!this.#stopped) this.#tell(codeOf(this.#trouble))
  }

  #tell(trouble: string | undefined): void {
    if (trouble === this.#told) return
    this.#told = trouble
    this.#options.onChange(trouble)
  }

  #pause(tries: number): Promise<void> {
    const { reconnectMs, reconnectMaxMs, random } = this.#options
    const most =
      this.#trouble.kind === 'misconfigured' ? reconnectMaxMs : Math.min(reconnectMaxMs, reconnectMs * 2 ** tries)
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, most * (0.5 + random() / 2))
      this.#wake = () => {
        clearTimeout(timer)
        resolve()
      }
    })
  }
}

function codeOf(trouble: SendOutcome): string {
  return 'code' in trouble ? trouble.code : trouble.kind
}
