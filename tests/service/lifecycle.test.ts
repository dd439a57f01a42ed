import { execFile } from 'node:child_process'
import { existsSync } from 'node:fs'
import { copyFile, mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Gate } from '../../infra/chaos/gate.ts'
import { Ledger } from '../../infra/chaos/ledger.ts'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { freshDatabase, serverAddress, type FreshDatabase } from '../harness/servers.ts'
import { Desk } from './desk.ts'

const run = promisify(execFile)
const KEY = Buffer.alloc(32, 9).toString('base64')
const postgres = serverAddress('TEST_DATABASE_URL')
const redis = serverAddress('TEST_REDIS_URL')

let folder: string
let ledger: Ledger
let base: string
let desk: Desk
const running: ServiceProcess[] = []
const doneAfter: (() => Promise<unknown>)[] = []

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'daysix-service-'))
  ledger = new Ledger()
  await ledger.start()
  await writeFile(join(folder, 'ledger.json'), ledger.description('ask-desk'))
  base = `http://127.0.0.1:${await freePort()}`
  desk = new Desk(base)
})
afterEach(async ({ task }) => {
  // The log of the service says why, where the test can only say that.
  if (task.result?.state === 'fail') for (const process of running) console.log(process.log.join('\n'))
  await Promise.all(running.splice(0).map((process) => process.kill()))
  for (const each of doneAfter.splice(0).reverse()) await each()
  await ledger.stop()
  await rm(folder, { recursive: true, force: true })
})

const environment = (extra: Record<string, string> = {}) => ({
  ...ledger.environment,
  DATA_DIR: join(folder, 'data'),
  GATEWAYS_DIR: folder,
  PORT: new URL(base).port,
  PUBLIC_URL: base,
  SWEEP_SECONDS: '1',
  DAYSIX_KEY: KEY,
  ...extra,
})

function service(role: 'web' | 'worker' | 'all', extra: Record<string, string> = {}): ServiceProcess {
  const process = new ServiceProcess({ role, environment: environment(extra) })
  running.push(process)
  return process
}

async function daysix(command: string[], extra: Record<string, string> = {}) {
  const { PATH, HOME } = process.env
  const env = { PATH, HOME, NODE_ENV: 'test', LOG_LEVEL: 'warn', ...environment(extra) } as unknown as NodeJS.ProcessEnv
  return run(process.execPath, ['src/cli/daysix.mjs', ...command], { env }).then(
    ({ stdout }) => ({ code: 0, stdout, stderr: '' }),
    ({ code, stdout, stderr }: { code: number; stdout: string; stderr: string }) => ({ code, stdout, stderr }),
  )
}

async function database(): Promise<FreshDatabase> {
  const made = await freshDatabase(postgres!)
  doneAfter.push(() => made.drop())
  return made
}

describe('a service on the embedded database', () => {
  it('finishes the sends in flight when it is told to stop, and leaves nothing in doubt', async () => {
    const all = service('all')
    all.start()
    await eventually('it is ready', () => isReady(base))
    await desk.clinic()
    ledger.fateOf = () => ({ answerAfter: 1_500 })
    const bookings = [await desk.book(), await desk.book(), await desk.book()]
    await eventually('they are being handed over', () => ledger.open.size > 0)
    await all.stop()
    expect(ledger.open.size).toBe(0)
    const handedOver = ledger.acceptances.length
    all.start()
    await eventually('it is ready again', () => isReady(base))
    ledger.fateOf = () => ({})
    await eventually('all are sent', async () =>
      (await Promise.all(bookings.map((id) => desk.confirmation(id)))).every(({ state }) => state === 'sent'),
    )
    expect(ledger.acceptances.map(({ id }) => id).filter((id, index, all) => all.indexOf(id) !== index)).toEqual([])
    expect(handedOver).toBeGreaterThan(0)
  })

  it('refuses a second process on the same folder', async () => {
    const all = service('all')
    all.start()
    await eventually('it is ready', () => isReady(base))
    const second = await daysix(['migrate'])
    expect(second).toMatchObject({ code: 1 })
    expect(second.stderr).toContain('Another Daysix process is using this data folder')
  })

  it('is backed up into a file and made again from it, without sending twice what was due meanwhile', async () => {
    const web = service('web') // nothing gets out before the backup
    web.start()
    await eventually('it is ready', () => isReady(base))
    await desk.clinic()
    const booking = await desk.book()
    await web.stop()
    const file = join(folder, 'backup.tar.gz')
    expect(await daysix(['backup', file])).toMatchObject({ code: 0 })
    expect((await daysix(['backup', file])).code).toBe(1) // never over an older one
    expect((await daysix(['restore', file])).stderr).toContain('holds a database already')
    const elsewhere = { DATA_DIR: join(folder, 'other') }
    const restored = await daysix(['restore', file], elsewhere)
    expect(restored, restored.stderr).toMatchObject({ code: 0 })
    const again = service('all', elsewhere)
    again.start()
    await eventually('it is ready', () => isReady(base))
    expect(await desk.confirmation(booking)).toMatchObject({ state: 'undelivered', code: 'restored' })
    expect(ledger.acceptances).toEqual([])
  })

  it('is restored wholly or not at all: without the key, or from a broken file, nothing is left behind', async () => {
    const keyInFolder = { DAYSIX_KEY: '' }
    const web = service('web', keyInFolder)
    web.start()
    await eventually('it is ready', () => isReady(base))
    await desk.clinic()
    const booking = await desk.book()
    await web.stop()
    const file = join(folder, 'backup.tar.gz')
    expect(await daysix(['backup', file], keyInFolder)).toMatchObject({ code: 0 })
    const image = await readFile(file)
    await writeFile(join(folder, 'garbage'), 'this was never a backup')
    await writeFile(join(folder, 'cut off'), image.subarray(0, image.length / 2))

    const other = join(folder, 'other')
    const elsewhere = { ...keyInFolder, DATA_DIR: other }
    const foreign = { DATA_DIR: other, DAYSIX_KEY: Buffer.alloc(32, 3).toString('base64') }
    const refused: [string, Record<string, string>, RegExp][] = [
      ['backup.tar.gz', elsewhere, /key .* is not here/],
      ['backup.tar.gz', foreign, /kept with another key/],
      ['garbage', foreign, /no backup of Daysix, or it is damaged/],
      ['cut off', foreign, /no backup of Daysix, or it is damaged/],
      ['missing', foreign, /cannot be read/],
    ]
    for (const [name, settings, words] of refused) {
      const { code, stderr } = await daysix(['restore', join(folder, name)], settings)
      expect([name, code, stderr.trim().split('\n').length]).toEqual([name, 1, 1])
      expect(stderr).toMatch(words)
      expect(existsSync(other), name).toBe(false)
    }

    // What an operator does next: puts the key there, and restores again.
    await mkdir(other)
    await copyFile(join(folder, 'data', 'sealing.key'), join(other, 'sealing.key'))
    expect(await daysix(['restore', file], elsewhere)).toMatchObject({ code: 0 })
    const again = service('all', elsewhere)
    again.start()
    await eventually('it is ready', () => isReady(base))
    expect(await desk.confirmation(booking)).toMatchObject({ state: 'undelivered', code: 'restored' })
    expect(ledger.acceptances).toEqual([])
  })

  it('makes no new key beside data that were sealed with another one', async () => {
    const keyInFolder = { DAYSIX_KEY: '' }
    const web = service('web', keyInFolder)
    web.start()
    await eventually('it is ready', () => isReady(base))
    await web.stop()
    const key = join(folder, 'data', 'sealing.key')
    await rm(key)
    const listed = await daysix(['person', 'list'], keyInFolder)
    expect(listed.stderr).toMatch(/key .* is not here/)
    expect(existsSync(key)).toBe(false)
  })
})

describe.skipIf(!postgres)('a service on PostgreSQL', () => {
  it('sends nothing while a command has stopped all sending, and goes on when one says so', async () => {
    const { url } = await database()
    const all = service('all', { DATABASE_URL: url })
    all.start()
    await eventually('it is ready', () => isReady(base))
    await desk.clinic()
    expect(await daysix(['sending', 'stop', '--why', 'a drill'], { DATABASE_URL: url })).toMatchObject({ code: 0 })
    const booking = await desk.book()
    expect((await daysix(['sending', 'show'], { DATABASE_URL: url })).stdout).toMatch(/region\t.*\toperator\ta drill/)
    // The queue has rung for it: what keeps it back is the switch.
    expect(await desk.confirmation(booking)).toMatchObject({ state: 'queued' })
    expect(ledger.acceptances).toEqual([])
    expect((await daysix(['sending', 'resume'], { DATABASE_URL: url })).stderr).toMatch(/--backlog/)
    expect(await daysix(['sending', 'resume', '--backlog', 'send'], { DATABASE_URL: url })).toMatchObject({ code: 0 })
    await eventually('it is sent', async () => (await desk.confirmation(booking)).state === 'sent')
  })

  it('may start before its stores, says which is away, and comes back with them', async () => {
    const { url } = await database()
    const stores = { database: new Gate(url), queue: new Gate(redis!) }
    for (const gate of Object.values(stores)) doneAfter.push(() => gate.shut())
    // Not open yet: only the addresses are known.
    for (const gate of Object.values(stores)) gate.port = await freePort()
    const both = { DATABASE_URL: stores.database.address(url), REDIS_URL: `${stores.queue.address(redis!)}/3` }
    const healthPort = await freePort()
    const [web, worker] = [service('web', both), service('worker', { ...both, HEALTH_PORT: String(healthPort) })]
    web.start()
    worker.start()
    const misses = ({ log }: ServiceProcess) => log.some((line) => line.includes('the database does not answer yet'))
    await eventually('both have missed the database', () => misses(web) && misses(worker))
    expect(web.runs && worker.runs).toBe(true)
    await stores.database.open()
    const health = async () => (await fetch(`${base}/health/ready`)).json() as Promise<Record<string, boolean>>
    await eventually('the pages are there', async () => (await health()).database === true)
    expect(await health()).toEqual({ ready: false, database: true, queue: false })
    await stores.queue.open()
    await eventually(
      'web and worker are ready',
      async () => (await isReady(base)) && (await isReady(`http://127.0.0.1:${healthPort}`)),
    )
    await desk.clinic()
    const first = await desk.book()
    await eventually('it is sent', async () => (await desk.confirmation(first)).state === 'sent')

    await stores.queue.shut()
    await eventually('the queue is known to be away', async () => (await health()).queue === false)
    const unrung = await desk.book() // is booked nevertheless
    expect((await fetch(`${base}/health/live`)).status).toBe(200)
    await stores.queue.open()
    await stores.database.shut()
    await eventually('the database is known to be away', async () => (await health()).database === false)
    await stores.database.open()
    await eventually('all is well again', () => isReady(base))
    const second = await desk.book()
    await eventually('it is sent', async () => (await desk.confirmation(second)).state === 'sent')
    // A ring that was never set is missed for a minute at most.
    await eventually(
      'the one from when the queue was away is sent too',
      async () => (await desk.confirmation(unrung)).state === 'sent',
      110,
    )
  })

  it('takes over from the embedded one with everything in flight', async () => {
    const { url } = await database()
    const small = service('all')
    small.start()
    await eventually('it is ready', () => isReady(base))
    await desk.clinic()
    ledger.fateOf = () => ({ answerAfter: 3_000 })
    const bookings = [await desk.book(), await desk.book()]
    await eventually('they are being handed over', () => ledger.open.size === 2)
    await small.kill() // in mid-sending, so that claims are left behind
    // Tables may be there already: whoever sets up the server makes them first.
    expect(await daysix(['migrate'], { DATABASE_URL: url, DATA_DIR: join(folder, 'none') })).toMatchObject({ code: 0 })
    const moved = await daysix(['move-in'], { DATABASE_URL: url })
    expect(moved, moved.stderr).toMatchObject({ code: 0 })
    expect(moved.stdout).toMatch(/booking +2\n/)
    expect((await daysix(['migrate'])).stderr).toContain('moved into PostgreSQL')
    expect((await daysix(['move-in'], { DATABASE_URL: url, DATA_DIR: join(folder, 'new') })).stderr).toContain(
      'not empty',
    )
    ledger.fateOf = () => ({})
    const large = service('all', { DATABASE_URL: url })
    large.start()
    await eventually('it is ready', () => isReady(base))
    await eventually('the claims left behind are settled', async () =>
      (await Promise.all(bookings.map((id) => desk.confirmation(id)))).every(({ state }) => state === 'undelivered'),
    )
    const third = await desk.book()
    await eventually('work goes on', async () => (await desk.confirmation(third)).state === 'sent')
  })
})
