import type { Gateway } from '../../src/flows/ports/gateway.ts'
import type { Deps, Records } from '../../src/flows/ports/deps.ts'
import type { SendJob, JobQueue } from '../../src/flows/ports/jobs.ts'
import { replanChanged } from '../../src/flows/preparation/replan-changed.ts'
import { createSender, type Sender } from '../../src/flows/messages/send-message.ts'
import { requeueAll, sweep } from '../../src/flows/messages/sweep.ts'
import { NOBODY, type Turns } from './turns.ts'

/** What befalls one call to the outside. The connection breaks, or the process dies: before it was done, or after. */
export type Fate = 'well' | 'breaks-before' | 'breaks-after' | 'dies-before' | 'dies-after'

/** The connection broke: whoever called does not know whether it was done. */
export class Broken extends Error {
  constructor(label: string) {
    super(`The connection broke at "${label}".`)
    this.name = 'Broken'
  }
}

/** What a machine needs of the world around it. */
export interface World {
  turns: Turns
  fate(label: string): Fate
  /** The queue as it is now: its store may lose everything. */
  queue(): JobQueue
  /** Whether a machine stands still from now on, as when a computer sleeps; then it is told when it goes on. */
  standsStill(label: string, life: Life): boolean
  /** Told of a message that was handed over, with an answer that did not get through. */
  unheard(messageId: string): void
  /** Told when the process has died, before it is started again. */
  died(workerId: string): Promise<void>
  failed(error: unknown): void
}

/**
 * One process of the service, with every call to store, queue and gateway taking its turn. A life ends at any of them;
 * the next begins with empty hands, as after `kill -9`. A machine may also stand still, and believe that no time has
 * passed.
 */
export class Machine {
  readonly #deps: Deps
  readonly #world: World
  life!: Life

  constructor(deps: Deps, world: World) {
    this.#deps = deps
    this.#world = world
    this.#begin()
  }

  #begin(): void {
    this.life = new Life(this.#deps, this.#world, () => this.#die())
    // As the service starts: see startWorker.
    const { life } = this
    life.begin('start', async () => {
      await requeueAll(life.deps)
      await replanChanged(life.deps)
    })
  }

  async #die(): Promise<void> {
    const { life } = this
    life.over = true
    this.#world.turns.forget(life)
    // Others notice in their own time.
    this.#world.turns.begin(
      this,
      'ended',
      async () => life.end(),
      () => {},
    )
    await this.#world.died(life.deps.worker.id)
    this.#begin()
  }
}

export class Life {
  readonly deps: Deps
  readonly #sender: Sender
  readonly #world: World
  readonly #die: () => Promise<void>
  /** It is not given any turns. */
  still = false
  /** It has not proved since it stood still that it lives. */
  #silent = false
  /** It is dead. */
  over = false
  #sweeping = false
  #ended!: (error: Error) => void
  /** Fails when this life ends: whoever is connected to the process finds the connection broken. */
  readonly ended = new Promise<never>((_done, fail) => (this.#ended = fail))

  constructor(base: Deps, world: World, die: () => Promise<void>) {
    this.#world = world
    this.#die = die
    this.ended.catch(() => {})
    const worker = {
      id: base.newId('w'),
      inFlight: new Set<string>(),
      waiting: new Set<string>(),
      steady: () => !this.#silent,
    }
    this.deps = {
      ...base,
      worker,
      store: {
        read: this.#records(base.store.read),
        transact: (work) => this.#transact(() => base.store.transact(work)),
      },
      queue: this.#queue(),
      gateways: new Map([...base.gateways].map(([name, gateway]) => [name, this.#gateway(gateway)])),
    }
    this.#sender = createSender(this.deps, () => this.#step('pause', async () => {}))
  }

  begin(label: string, flow: () => Promise<unknown>): void {
    this.#world.turns.begin(this, label, flow, (error) => this.#world.failed(error))
  }

  ring(job: SendJob): void {
    this.begin('ring', () => this.#sender.send(job))
  }

  sweep(): void {
    if (this.#sweeping) return
    this.#sweeping = true
    this.begin('sweep', () => sweep(this.deps).finally(() => (this.#sweeping = false)))
  }

  goOn(): void {
    if (this.over) return
    this.still = false
    this.begin('beat', () => this.deps.store.read.workers.beat(this.deps.worker.id))
  }

  end(): void {
    this.#ended(new Broken('the process'))
  }

  #step<T>(label: string, work: () => Promise<T>): Promise<T> {
    return this.#world.turns.take<T>(this, label, async () => {
      const fate = this.#world.fate(label)
      if (fate === 'dies-before') return this.#gone()
      if (fate === 'breaks-before') throw new Broken(label)
      const result = await work()
      if (fate === 'dies-after') return this.#gone()
      if (this.#world.standsStill(label, this)) this.still = this.#silent = true
      if (fate === 'breaks-after') throw new Broken(label)
      return result
    })
  }

  /** Done, and then known: between the two the others go on, or time goes by. */
  async #transact<T>(work: () => Promise<T>): Promise<T> {
    const result = await this.#step('commit', work)
    await this.#step('answer', async () => {})
    return result
  }

  async #gone(): Promise<typeof NOBODY> {
    await this.#die()
    return NOBODY
  }

  #records(read: Records): Records {
    const area = (name: string, records: object) =>
      new Proxy(records, {
        get:
          (target, key) =>
          (...args: unknown[]) =>
            this.#call(`${name}.${String(key)}`, () => Reflect.get(target, key)(...args) as Promise<unknown>),
      })
    return new Proxy(read, { get: (target, key) => area(String(key), Reflect.get(target, key) as object) })
  }

  async #call(label: string, call: () => Promise<unknown>): Promise<unknown> {
    // Silence is measured by the database's clock, which is real: here the world says who has been silent.
    if (label === 'workers.forgetSilent') return 0
    const result = await this.#step(label, call)
    if (label === 'workers.beat') this.#silent = false
    return result
  }

  #queue(): JobQueue {
    const set = (jobs: readonly SendJob[]) => this.#step('queue', () => this.#world.queue().enqueue(jobs))
    const nothing = async () => {}
    const setSoon = (jobs: readonly SendJob[]) => void set(jobs).catch(() => {})
    return {
      enqueue: set,
      enqueueSoon: setSoon,
      ready: async () => true,
      start: nothing,
      pause: nothing,
      rest: nothing,
      stop: nothing,
    }
  }

  #gateway(gateway: Gateway): Gateway {
    const { name, channels, onUnknown, lookUp } = gateway
    return {
      name,
      channels,
      onUnknown,
      start: async () => {},
      stop: async () => {},
      // Every message waits for a turn: whatever happens meanwhile must count.
      turn: async () => {
        await this.#step('turn', async () => {}).catch(() => {})
        return { release: () => {} }
      },
      ...(lookUp && { lookUp: (id) => this.#step('look up', () => lookUp(id)) }),
      send: async (message) => {
        try {
          return await this.#step('send', () => gateway.send(message))
        } catch (error) {
          if (!(error instanceof Broken)) throw error
          this.#world.unheard(message.id)
          return { kind: 'unknown', code: 'broken' }
        }
      },
    }
  }
}
