import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Ledger } from '../../infra/chaos/ledger.ts'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { TestSmsc } from '../gateways/peers/test-smsc.ts'
import { Desk } from './desk.ts'

/** Texts a second that the network allows. */
const RATE = 2
/** Visits are booked until so many wait for their text: the test then has some seconds to act. */
const BACKLOG = 22
const MOST_VISITS = 90
const STOPS = 4
const CANCELLED = 4

/** A network that allows few texts a second, with its own record of what it took. */
interface Network {
  name: string
  start(): Promise<void>
  /** Its description as a gateway file. */
  described(): object
  environment: Record<string, string>
  /** Whom it took a text for so far, in order. */
  taken(): string[]
  /** When it took each part of a text, by this machine's clock. */
  times(): number[]
  /** A patient writes. Resolves when the service has acknowledged it. */
  say(base: string, from: string, text: string): Promise<void>
  stop(): Promise<void>
}

function overHttp(): Network {
  const ledger = new Ledger()
  let said = 0
  return {
    name: 'http',
    start: () => ledger.start(),
    described: () => ({ ...(JSON.parse(ledger.description('ask-desk')) as object), ratePerSecond: RATE }),
    environment: ledger.environment,
    taken: () => ledger.acceptances.map(({ to }) => to),
    times: () => ledger.acceptances.map(({ real }) => real),
    say: async (base, from, text) => {
      if (!(await ledger.tellReply(base, { from, text, key: `said-${said++}` }))) throw new Error('not acknowledged')
    },
    stop: () => ledger.stop(),
  }
}

function overSmpp(): Network {
  const smsc = new TestSmsc()
  let port = 0
  return {
    name: 'smpp',
    start: async () => void (port = await smsc.listen()),
    described: () => {
      const ids = { accept: 'hex', receipt: 'decimal' }
      const peer = { host: '127.0.0.1', port, systemId: 'daysix', password: 'env:SMSC_PASSWORD' }
      return { kind: 'smpp', name: 'ledger', ...peer, ids, ratePerSecond: RATE }
    },
    environment: { SMSC_PASSWORD: 'secret' },
    taken: () => smsc.taken.filter(({ part }) => part === undefined || part[2] === 1).map(({ to }) => to),
    times: () => smsc.taken.map(({ at }) => at),
    say: (_base, from, text) => {
      const said = { source_addr: from.slice(1), data_coding: 0, short_message: Buffer.from(text) }
      return smsc.say(said)
    },
    stop: () => smsc.close(),
  }
}

describe.each([overHttp(), overSmpp()])('$name, to a network that allows few texts a second', (network) => {
  let folder: string
  let base: string
  let desk: Desk
  let service: ServiceProcess

  beforeEach(async () => {
    await network.start()
    folder = await mkdtemp(join(tmpdir(), 'daysix-pace-'))
    await writeFile(join(folder, 'network.json'), JSON.stringify(network.described()))
    base = `http://127.0.0.1:${await freePort()}`
    const folders = { DATA_DIR: join(folder, 'data'), GATEWAYS_DIR: folder }
    const own = { PORT: new URL(base).port, PUBLIC_URL: base, SWEEP_SECONDS: '1' }
    service = new ServiceProcess({ role: 'all', environment: { ...network.environment, ...folders, ...own } })
    service.start()
    await eventually('it is ready', () => isReady(base))
    desk = new Desk(base)
    await desk.clinic()
  })
  afterEach(async ({ task }) => {
    if (task.result?.state === 'fail') console.log(service.log.join('\n'))
    await service.kill()
    await network.stop()
    await rm(folder, { recursive: true, force: true })
  })

  const phoneOf = (n: number) => `+1782555${String(100 + n).padStart(4, '0')}`
  const hasText = ({ phone }: { phone: string }) => network.taken().includes(phone)

  it('gets nothing of what waits for who wrote STOP or is cancelled, answers first, and no more than it allows', async () => {
    const visits: { id: string; phone: string }[] = []
    const wait = () => visits.filter((visit) => !hasText(visit))
    for (let n = 0; n < MOST_VISITS && wait().length < BACKLOG; n++) {
      visits.push({ id: await desk.book(phoneOf(n)), phone: phoneOf(n) })
    }
    const waiting = wait()
    expect(waiting).toHaveLength(BACKLOG)
    // Those who came last: they have to wait longest.
    const stopped = waiting.slice(-STOPS)
    const cancelled = waiting.slice(-STOPS - CANCELLED, -STOPS)

    const before = network.taken().length
    await Promise.all([
      ...stopped.map(({ phone }) => network.say(base, phone, 'STOP')),
      ...cancelled.map(({ id }) => desk.done('POST', `/bookings/${id}/cancel`, { by: 'desk' })),
    ])

    const others = visits.filter((visit) => !stopped.includes(visit) && !cancelled.includes(visit))
    await eventually('everybody else has got a text', () => others.every(hasText), 120)
    const waits = async ({ id }: { id: string }) => {
      const { state } = await desk.confirmation(id)
      return ['planned', 'queued', 'sending'].includes(state)
    }
    await eventually('nothing waits any more', async () => !(await Promise.all(visits.map(waits))).includes(true))

    await eventually('whose visit is cancelled has heard of that', () => cancelled.every(hasText), 60)
    await eventually(
      'it is known to have gone',
      async () => (await Promise.all(cancelled.map(({ id }) => desk.gone(id)))).flat().length >= CANCELLED,
    )

    const after = network.taken().slice(before)
    // That the visit is cancelled, once, and nothing of what waited.
    for (const { id, phone } of cancelled) {
      expect(await desk.gone(id)).toEqual(['cancelled'])
      expect(after.filter((to) => to === phone)).toHaveLength(1)
    }
    // The answer to STOP, and nothing else; before the others, but for those that had their turn meanwhile.
    const answers = after.flatMap((to, place) => (stopped.some(({ phone }) => phone === to) ? [place] : []))
    expect(answers).toHaveLength(STOPS)
    expect(Math.max(...answers)).toBeLessThan(STOPS + 4)
    expect(after.length).toBeGreaterThan(STOPS + 4)
    expect(busiest(network.times(), 2_000)).toBeLessThanOrEqual(2 * RATE + 2)
  })
})

/** Most that it took within any such time. */
function busiest(times: readonly number[], withinMs: number): number {
  return Math.max(...times.map((at) => times.filter((one) => one >= at && one < at + withinMs).length))
}
