import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { eventually, freePort, isReady, ServiceProcess } from '../../infra/chaos/service-process.ts'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import type { Database } from '../../src/adapters/db/pool.ts'
import { openServer } from '../../src/adapters/db/server.ts'
import { openStore } from '../../src/adapters/db/store.ts'
import { PerlSmsc, perlSmscPresent } from '../gateways/peers/perl-smsc.ts'
import { phoneOctets, phoneParts } from '../gateways/smpp-octets.ts'
import { freshDatabase, serverAddress, TEST_KEY, testVault, type FreshDatabase } from '../harness/servers.ts'

// The real service in processes of its own, each bound to a message centre on Debian's Net::SMPP. Invented people.

/** What the centre does with texts to them is told in smsc.pl: neither sends a receipt unless the test asks for one. */
const PATIENT = '+16135550193'
const SLOW_PATIENT = '+16135550189'
const WORDS = `${'I could not read the letter. '.repeat(9)}Purple umbrella.`
const zoneAtNoon = () => {
  const hours = 13 - new Date().getUTCHours()
  return `Etc/GMT${hours > 0 ? '-' : '+'}${Math.abs(hours)}`
}

let folder: string
let smsc: PerlSmsc
let base: string
let running: ServiceProcess[]
let server: FreshDatabase | undefined

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'daysix-parts-'))
  smsc = await PerlSmsc.start()
  running = []
  server = undefined
})
afterEach(async () => {
  await Promise.all(running.map((each) => each.kill()))
  await smsc.stop()
  await server?.drop()
  await rm(folder, { recursive: true, force: true })
})

/** Starts a process that is bound under this name. */
async function begin(name: string, role: 'all' | 'worker', rest: Record<string, string> = {}): Promise<ServiceProcess> {
  const gateways = join(folder, name)
  await mkdir(gateways)
  const described = {
    ...{ kind: 'smpp', name: 'centre', host: '127.0.0.1', port: smsc.port, systemId: name, password: 'env:SMSC' },
    ...{ from: { address: '80001' }, reassemblyMs: 60_000, reconnectMs: 100 },
  }
  await writeFile(join(gateways, 'centre.json'), JSON.stringify(described))
  const port = await freePort()
  const url = `http://127.0.0.1:${port}`
  if (role === 'all') base = url
  const environment = {
    ...{ SMSC: 'secret', DAYSIX_KEY: TEST_KEY, DATA_DIR: join(folder, 'data'), GATEWAYS_DIR: gateways },
    ...{ PORT: String(port), HEALTH_PORT: role === 'worker' ? String(port) : '', PUBLIC_URL: url, SWEEP_SECONDS: '1' },
    ...rest,
  }
  const process = new ServiceProcess({ role, environment })
  running.push(process)
  await bound(name, process, url)
  return process
}

async function bound(name: string, process: ServiceProcess, url = base): Promise<void> {
  const binds = () => smsc.events('bind').filter(({ system }) => system === name).length
  const before = binds()
  process.start()
  await eventually(`${name} is bound: ${process.log.join('\n')}`, async () => binds() > before && isReady(url), 60)
}

async function call(method: string, path: string, body?: unknown) {
  const response = await fetch(`${base}/api/v1${path}`, {
    method,
    ...(body !== undefined && { headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) }),
  })
  // eslint-disable-next-line @typescript-eslint/no-explicit-any -- answers are looked into freely
  const answer = (await response.json()) as any
  expect(response.status, JSON.stringify(answer)).toBeLessThan(300)
  return answer
}

/** Books a visit whose confirmation takes several parts (Cyrillic, 67 characters each: 3GPP TS 23.038). */
async function book(phone: string): Promise<string> {
  await call('PUT', '/clinics/main', {
    ...{ name: 'Harbour Clinic', phone: '+16135550100', zone: zoneAtNoon(), country: 'CA' },
    settings: { gateway: 'centre' },
  })
  const { booking } = await call('POST', '/bookings', {
    protocol: 'liquid-based-cytology',
    visit: new Date(Date.now() + 20 * 86_400_000).toISOString(),
    patient: { name: 'Ada Fenwick', phone, language: 'uk', channel: 'sms', detail: 'full' },
    cycle: { lmp: 'no-periods' },
    consent: { recordedBy: 'desk' },
  })
  return booking.id
}

const confirmation = async (booking: string) =>
  (await call('GET', `/bookings/${booking}`)).messages.find(({ kind }: { kind: string }) => kind === 'confirmation')
/** The parts of the first text to a number, as far as the centre has them. */
function firstTaken(number: string) {
  const taken = smsc.taken().filter(({ to }) => to === number)
  return taken.filter(({ part }) => part?.[0] === taken[0]!.part![0])
}
const isIn = async (booking: string, state: string) => (await confirmation(booking))?.state === state
const delivered = (to: string, id: unknown) => ({ receipt: id, to: to.slice(1), stat: 'DELIVRD' })
const told = () => smsc.events('told').length

const replyParts = () =>
  phoneParts(phoneOctets(WORDS), 77).map(({ octets, data_coding: dc, esm_class: esm }) => ({
    ...{ from: PATIENT.slice(1), dc, esm, hex: octets.toString('hex') },
  }))

async function heard(database: Database): Promise<string[]> {
  const { read } = await openStore(database, testVault())
  return (await read.replies.fromPhone(PATIENT, new Date(0))).map(({ text }) => text)
}

describe.skipIf(!perlSmscPresent())('after kill -9 between two parts', () => {
  it('a long reply is whole, and heard once; and a long text is delivered by receipts of before and after', async () => {
    const service = await begin('one', 'all')
    const booking = await book(PATIENT)
    await eventually('the confirmation is sent', () => isIn(booking, 'sent'))
    const sent = firstTaken(PATIENT)
    expect(sent.length).toBeGreaterThan(2)
    const parts = replyParts()
    expect(parts).toHaveLength(2)

    // The first part of one, and of the other all receipts but one, the last part's among them.
    await smsc.ask('one', parts[0]!)
    for (const { id } of sent.slice(1)) await smsc.ask('one', delivered(PATIENT, id))
    await eventually('all are acknowledged', () => told() === sent.length)
    expect(smsc.events('told').map(({ status }) => status)).toEqual(sent.map(() => 0))
    await service.kill()
    await bound('one', service)
    await new Promise((resolve) => setTimeout(resolve, 1_500))
    expect((await confirmation(booking)).state).toBe('sent')
    // As a centre does that lost our answer, it tells the first part again.
    for (const part of [parts[0]!, parts[1]!, parts[1]!]) await smsc.ask('one', part)
    await smsc.ask('one', delivered(PATIENT, sent[0]!.id))
    await eventually('all are acknowledged', () => told() === sent.length + 4)
    expect(smsc.events('told').map(({ status }) => status)).toEqual(Array(sent.length + 4).fill(0))
    await eventually('the confirmation is delivered', () => isIn(booking, 'delivered'))
    const { id } = await confirmation(booking)
    await service.kill()

    const database = await openEmbedded(join(folder, 'data'))
    expect(await heard(database)).toEqual([WORDS])
    const { rows } = await database.records.query('select sealed from daysix.long_reply')
    expect(rows).toEqual([{ sealed: null }])
    const kept = await database.records.query('select from daysix.sent_part where message_id = $1', [id])
    expect(kept.rows).toEqual([])
    await database.close()
  }, 200_000)
})

const address = serverAddress('TEST_DATABASE_URL')

describe.skipIf(!perlSmscPresent() || !address)('with two workers at one message centre', () => {
  beforeEach(async () => {
    server = await freshDatabase(address!)
    const stores = { DATABASE_URL: server.url }
    await begin('one', 'all', stores)
    await begin('two', 'worker', stores)
  }, 120_000)

  it('a reply is one, whichever of them gets which part, also at the same moment and more than once', async () => {
    const [first, second] = replyParts()
    await Promise.all([smsc.ask('one', first!), smsc.ask('two', second!)])
    await Promise.all([smsc.ask('two', first!), smsc.ask('one', second!)])
    await eventually('all are acknowledged', () => told() === 4)
    expect(smsc.events('told').map(({ status }) => status)).toEqual([0, 0, 0, 0])
    const database = await openServer(server!.url)
    expect(await heard(database)).toEqual([WORDS])
    expect((await database.records.query('select from daysix.long_reply where heard_at is null')).rows).toEqual([])
    await database.close()
  }, 100_000)

  it('receipts of a long text count wherever they arrive, also before the answer to its parts', async () => {
    const booking = await book(SLOW_PATIENT)
    const taken = () => firstTaken(SLOW_PATIENT)
    // The centre answers late; the other worker gets the receipt of each part but the first meanwhile.
    let asked = 1
    await eventually('the confirmation is sent', async () => {
      for (const { id } of taken().slice(asked)) {
        asked++
        await smsc.ask('two', delivered(SLOW_PATIENT, id))
      }
      return isIn(booking, 'sent')
    })
    expect(asked).toBeGreaterThan(2)
    expect(asked).toBe(taken().length)
    // Whoever looks after what a crash left has looked by then.
    await new Promise((resolve) => setTimeout(resolve, 6_000))
    expect((await confirmation(booking)).state).toBe('sent')
    await smsc.ask('two', delivered(SLOW_PATIENT, taken()[0]!.id))
    await eventually('the confirmation is delivered', () => isIn(booking, 'delivered'))
  }, 100_000)
})
