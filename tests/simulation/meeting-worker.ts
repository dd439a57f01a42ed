import { replanChanged } from '../../src/flows/preparation/replan-changed.ts'
import { sendMessage } from '../../src/flows/messages/send-message.ts'
import { closeAllPast, requeueAll, sweep } from '../../src/flows/messages/sweep.ts'
import type { Gateway, Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import type { SendJob } from '../../src/flows/ports/jobs.ts'
import type { TestWorld } from '../harness/world.ts'
import type { Called } from './meeting-calls.ts'

const HOUR_MS = 3_600_000

/** How a worker ends: between its claim and what becomes of it. */
export interface Death {
  /** The network had the message already. */
  handedOver: boolean
  /** The network can say afterwards what became of it. */
  canLookUp: boolean
  /** Until it is started again. */
  hours: number
}

class Died extends Error {}

/** The one process that sends and sweeps. It may die as it hands a message over, and starts with empty hands. */
export class MortalWorker {
  readonly #world: TestWorld
  readonly #network: Gateway
  readonly #called: Called
  #next: Death | null = null
  #isDown = false
  /** Nothing is left of its last life. */
  #hasSwept = true
  /** What it held when it died. */
  readonly held: string[] = []

  private constructor(world: TestWorld, network: Gateway, called: Called) {
    this.#world = world
    this.#network = network
    this.#called = called
  }

  static async start(world: TestWorld, called: Called): Promise<MortalWorker> {
    const gateways = world.deps.gateways as Map<string, Gateway>
    const network = gateways.get('pocket')!
    const worker = new MortalWorker(world, network, called)
    gateways.set('pocket', worker.#gateway(network))
    await world.deps.queue.start((job) => worker.#ring(job))
    return worker
  }

  dieAtNext(death: Death): void {
    this.#next = death
  }

  get hasTakenUp(): boolean {
    return !this.#isDown && this.#hasSwept
  }

  /** Time passes; it sweeps every hour, as long as it lives. */
  async pass(hours: number): Promise<void> {
    const { clock, deps } = this.#world
    for (let hour = 0; hour < hours; hour++) {
      await clock.moveTo(new Date(clock.now().getTime() + HOUR_MS))
      if (this.#isDown) continue
      await sweep(deps)
      this.#hasSwept = true
      await clock.moveTo(clock.now())
    }
  }

  #gateway({ name, channels, onUnknown, lookUp }: Gateway): Gateway {
    return {
      ...{ name, channels, onUnknown, lookUp: lookUp! },
      start: async () => {},
      stop: async () => {},
      send: (message) => this.#send(message),
    }
  }

  async #send(message: Outgoing): Promise<SendOutcome> {
    const death = this.#next
    if (!death) return this.#handOver(message)
    this.#next = null
    this.#isDown = true
    this.#hasSwept = false
    this.held.push(message.id)
    const known = this.#world.deps.gateways.get('pocket')! as { lookUp?: Gateway['lookUp'] }
    if (death.canLookUp) known.lookUp = this.#network.lookUp!
    else delete known.lookUp
    if (death.handedOver) await this.#handOver(message)
    const { clock } = this.#world
    clock.after(death.hours * HOUR_MS, () => this.#startAgain())
    throw new Died()
  }

  async #handOver(message: Outgoing): Promise<SendOutcome> {
    const outcome = await this.#network.send(message)
    if (message.channel === 'voice') await this.#called.rings(message)
    return outcome
  }

  async #ring(job: SendJob): Promise<void> {
    // Nobody hears the alarm.
    if (this.#isDown) return
    await sendMessage(this.#world.deps, job).catch((error: unknown) => {
      if (!(error instanceof Died)) throw error
    })
  }

  /** As a process starts: see startWorker. */
  async #startAgain(): Promise<void> {
    const { deps } = this.#world
    const before = deps.worker.id
    deps.worker.id = deps.newId('w')
    deps.worker.inFlight.clear()
    deps.worker.waiting.clear()
    this.#isDown = false
    // It has been silent for so long that it is gone for the others.
    await deps.store.read.workers.leave(before)
    await requeueAll(deps)
    await replanChanged(deps)
    await closeAllPast(deps)
  }
}
