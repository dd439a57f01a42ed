import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect } from 'vitest'
import { Ledger } from '../../infra/chaos/ledger.ts'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { Desk } from '../service/desk.ts'

export interface Refused {
  status: number
  type: string
  retryAfter: string | null
  code: string
}

/** A web and a worker on stores that a test hurts, with a network of their own that writes down what it was handed. */
export class OwnFleet {
  readonly ledger = new Ledger()
  readonly desk: Desk
  /** Visits that were acknowledged. */
  readonly booked: string[] = []
  /** Answers that left it open whether the visit was booked. */
  #unsure = 0
  #processes: ServiceProcess[] = []
  #folder = ''

  private constructor(
    readonly base: string,
    readonly health: string,
  ) {
    this.desk = new Desk(base)
  }

  static async start(stores: Record<string, string>): Promise<OwnFleet> {
    const [web, worker] = [await freePort(), await freePort()]
    const fleet = new OwnFleet(`http://127.0.0.1:${web}`, `http://127.0.0.1:${worker}`)
    await fleet.ledger.start()
    fleet.#folder = await mkdtemp(join(tmpdir(), 'daysix-fleet-'))
    await writeFile(join(fleet.#folder, 'network.json'), fleet.ledger.description('ask-desk'))
    const ours = { GATEWAYS_DIR: fleet.#folder, PUBLIC_URL: fleet.base, SWEEP_SECONDS: '1', LOG_LEVEL: 'info' }
    const keys = { DAYSIX_KEY: Buffer.alloc(32, 9).toString('base64'), DATA_DIR: fleet.#folder }
    const environment = { ...fleet.ledger.environment, ...ours, ...keys, ...stores }
    fleet.#processes = [
      new ServiceProcess({ role: 'web', environment: { ...environment, PORT: String(web) } }),
      new ServiceProcess({ role: 'worker', environment: { ...environment, HEALTH_PORT: String(worker) } }),
    ]
    for (const process of fleet.#processes) process.start()
    await fleet.isWell()
    await fleet.desk.clinic()
    return fleet
  }

  /** What both have written, of level info and above. */
  get log(): string {
    return this.#processes.flatMap(({ log }) => log).join('\n')
  }

  async isWell(): Promise<void> {
    for (const each of [this.base, this.health]) await eventually(`${each} is ready`, () => isReady(each), 60)
  }

  async readiness(): Promise<[web: Record<string, boolean>, worker: Record<string, boolean>]> {
    const of = async (base: string) => (await fetch(`${base}/health/ready`)).json() as Promise<Record<string, boolean>>
    return Promise.all([of(this.base), of(this.health)])
  }

  /** Asks for a visit. @returns why it was refused, or null where it was acknowledged */
  async tryToBook(): Promise<Refused | null> {
    const { status, headers, body } = await this.desk.tryToBook(undefined, 'discreet')
    if (status !== 201) {
      if (/may not have been saved/.test(String(body.detail))) this.#unsure++
      return {
        status,
        type: headers.get('Content-Type') ?? '',
        retryAfter: headers.get('Retry-After'),
        code: body.code as string,
      }
    }
    this.booked.push(body.booking.id as string)
    return null
  }

  /** The page of a patient who has been written to. */
  privatePage(): string {
    return this.ledger.acceptances.map(({ text }) => /http\S+\/v\/[\w.-]+/.exec(text)?.[0]).find(Boolean)!
  }

  /** By itself it works as before: a visit can be had and is told of at once, and every acknowledged one is there. */
  async expectGoesOn(): Promise<void> {
    await this.isWell()
    await eventually('a visit can be had', async () => (await this.tryToBook()) === null, 30)
    await this.isTold(this.booked.at(-1)!)
    for (const id of this.booked) expect((await this.desk.call('GET', `/bookings/${id}`)).status).toBe(200)
    // Words and codes only: not where in the code.
    expect(this.log).not.toMatch(/"stack"|^\s+at .*:\d+:\d+/m)
  }

  /** Whoever was acknowledged is told of it, and once. */
  async expectAllTold(): Promise<void> {
    for (const id of this.booked) await this.isTold(id)
    const beyond = this.ledger.counts().size - this.booked.length
    expect(beyond).toBeGreaterThanOrEqual(0)
    expect(beyond, this.ledger.acceptances.map(({ text }) => text).join('\n')).toBeLessThanOrEqual(this.#unsure)
    expect([...this.ledger.counts().values()].every((times) => times === 1)).toBe(true)
  }

  /** A ring that was never set is missed for a minute and a half at most. */
  isTold(id: string): Promise<void> {
    return eventually(`${id} is told`, async () => (await this.desk.confirmation(id)).state === 'sent', 110)
  }

  async end(): Promise<void> {
    await Promise.all(this.#processes.map((process) => process.kill()))
    await this.ledger.stop()
    await rm(this.#folder, { recursive: true, force: true })
  }
}
