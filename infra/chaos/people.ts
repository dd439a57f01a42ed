import type { Fleet } from './fleet.ts'
import type { Acceptance, Ledger } from './ledger.ts'
import type { Chance } from './random.ts'

/** Area codes whose 555-01xx numbers are reserved for fiction. */
const AREAS = [613, 782, 416, 905, 514, 204, 306, 403]
const ZONE = 'America/Halifax'
const REPLIES = [
  'period started today',
  '1',
  '2',
  'yes',
  'STOP',
  'can I use tampons?',
  'ok thanks',
  'who is this',
] as const

/** Bookings that are looked at to find what is due next. */
const LOOKED_AT = 12

/** What the desk and the patients did, and what they were told about it. They try again until somebody answers. */
export class People {
  /** Bookings that were acknowledged, by their key. */
  readonly booked = new Map<string, string>()
  readonly refused: number[] = []
  /** When a STOP was acknowledged, by number. */
  readonly stopped = new Map<string, Date>()
  /** Keys of replies that were acknowledged. */
  readonly heard = new Set<string>()
  /** What the service answered when it could not do what it was asked. */
  readonly failures: { path: string; status: number; type: string }[] = []
  #asked = 0
  #texts = 0
  readonly #pending = new Set<Promise<void>>()
  readonly #parts: { fleet: Fleet; ledger: Ledger; chance: Chance; now: () => Date }

  constructor(parts: { fleet: Fleet; ledger: Ledger; chance: Chance; now: () => Date }) {
    this.#parts = parts
  }

  async openClinic(): Promise<void> {
    const clinic = {
      name: 'Harbour Clinic',
      phone: '+17825550190',
      zone: ZONE,
      country: 'CA',
      settings: { gateway: 'ledger', holdHours: 6 },
    }
    await this.#insist('PUT', '/clinics/harbour', clinic)
  }

  /** Free times, so that there is something to offer. */
  addOpenings(): void {
    const at = Array.from({ length: 6 }, () => this.#time(4, 12))
    this.#later(async () => void (await this.#insist('POST', '/openings', { clinic: 'harbour', at })))
  }

  /** One patient more; now and then two at once for the same time, of whom one must be refused. */
  book(): void {
    const visit = this.#time(2, 5)
    const rivals = this.#parts.chance.happens(0.1) ? 2 : 1
    for (let n = 0; n < rivals; n++) this.#bookOne(visit)
  }

  #bookOne(visit: string): void {
    const { chance } = this.#parts
    const n = this.#asked++
    const phone = `+1${AREAS[Math.floor(n / 90) % AREAS.length]}555${String(100 + (n % 90)).padStart(4, '0')}`
    const lmp = new Date(this.#parts.now().getTime() - chance.between(3, 26) * 86_400_000).toISOString().slice(0, 10)
    const patient = {
      name: `Patient ${n}`,
      phone,
      language: chance.one(['en', 'fr', 'es']),
      channel: 'sms',
      detail: chance.one(['full', 'discreet']),
    }
    const key = `booking-${n}-of-the-run`
    const request = {
      clinic: 'harbour',
      protocol: 'liquid-based-cytology',
      visit,
      patient,
      cycle: { lmp, usualCycleDays: 28 },
      consent: { recordedBy: 'desk' },
      by: 'desk',
    }
    this.#later(async () => {
      const { status, body } = await this.#insist('POST', '/bookings', request, { 'Idempotency-Key': key })
      if (status === 201) this.booked.set(key, (body as { booking: { id: string } }).booking.id)
      else this.refused.push(status)
    })
  }

  /** A text has reached a phone: the network says so, sooner or later, once or twice; the patient may answer. */
  react(acceptance: Acceptance): void {
    const { chance, ledger } = this.#parts
    if (!chance.happens(0.1)) {
      const state = chance.happens(0.05) ? 'failed' : 'delivered'
      const times = chance.happens(0.2) ? 2 : 1
      for (let n = 0; n < times; n++) {
        // A receipt that is late comes when a claim that was left behind has been taken over.
        const wait = chance.happens(0.15) ? chance.between(6_000, 15_000) : chance.between(0, 1_500)
        this.#later(async () => {
          await sleep(wait)
          await this.#untilTrue((base) => ledger.tellReceipt(acceptance, state, base))
        })
      }
    }
    if (chance.happens(0.35)) this.#reply(acceptance.to, chance.one(REPLIES))
  }

  #reply(from: string, text: string): void {
    const { chance, ledger, now } = this.#parts
    const key = `text-${this.#texts++}`
    const times = chance.happens(0.2) ? 2 : 1
    for (let n = 0; n < times; n++) {
      const wait = chance.between(0, 1_000)
      this.#later(async () => {
        await sleep(wait)
        if (!(await this.#untilTrue((base) => ledger.tellReply(base, { from, text, key })))) return
        this.heard.add(key)
        if (text === 'STOP' && !this.stopped.has(from)) this.stopped.set(from, now())
      })
    }
  }

  /**
   * When the next message is due that no alarm has been set for yet, at least so far ahead; asked about a few bookings.
   */
  async nextDue(aheadMs: number): Promise<Date | null> {
    const from = this.#parts.now().getTime() + aheadMs
    const some = [...this.booked.values()].slice(-LOOKED_AT)
    const found = await Promise.all(some.map((id) => this.#insist('GET', `/bookings/${id}`).catch(() => null)))
    const messages = found.flatMap((answer) =>
      answer?.status === 200 ? (answer.body as { messages: { state: string; sendAt: string }[] }).messages : [],
    )
    const times = messages.filter(({ state }) => state === 'planned').map(({ sendAt }) => new Date(sendAt).getTime())
    const next = Math.min(...times.filter((at) => at > from))
    return Number.isFinite(next) ? new Date(next) : null
  }

  /** Waits until everybody has been answered. */
  async settled(): Promise<void> {
    while (this.#pending.size > 0) await Promise.all(this.#pending)
  }

  #later(work: () => Promise<void>): void {
    const doing = work().catch(() => {})
    this.#pending.add(doing)
    void doing.finally(() => this.#pending.delete(doing))
  }

  /** A time within opening hours some days from now, local time of the clinic. */
  #time(fromDay: number, toDay: number): string {
    const { chance, now } = this.#parts
    const day = new Date(now().getTime() + chance.between(fromDay, toDay) * 86_400_000).toISOString().slice(0, 10)
    return `${day}T${String(chance.between(8, 17)).padStart(2, '0')}:${String(chance.between(0, 11) * 5).padStart(2, '0')}`
  }

  /** Any web that answers will do; whoever gets no answer asks again, as programs do. */
  async #insist(method: string, path: string, body?: object, headers: Record<string, string> = {}) {
    let answer: { status: number; body: unknown } | undefined
    await this.#untilTrue(async (base) => {
      const response = await fetch(`${base}/api/v1${path}`, {
        method,
        headers: { 'Content-Type': 'application/json', ...headers },
        ...(body && { body: JSON.stringify(body) }),
        signal: AbortSignal.timeout(8_000),
      })
      if (response.status >= 500)
        this.failures.push({ path, status: response.status, type: response.headers.get('Content-Type') ?? 'none' })
      answer = { status: response.status, body: await response.json().catch(() => null) }
      return response.status < 500 && response.status !== 429
    })
    if (!answer) throw new Error(`nobody answered ${path}`)
    return answer
  }

  async #untilTrue(attempt: (base: string) => Promise<boolean>): Promise<boolean> {
    for (let tries = 0; tries < 200; tries++) {
      const web = this.#parts.fleet.webs[tries % this.#parts.fleet.webs.length]!
      if (web.process.runs && (await attempt(web.url!).catch(() => false))) return true
      await sleep(300)
    }
    return false
  }
}

export const sleep = (ms: number) => new Promise<void>((done) => setTimeout(done, ms))
