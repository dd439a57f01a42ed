import { randomBytes } from 'node:crypto'
import { execFile } from 'node:child_process'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { Ledger } from '../../infra/chaos/ledger.ts'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { freshDatabase, serverAddress } from '../harness/servers.ts'
import { Desk } from './desk.ts'

const run = promisify(execFile)
const API_KEY = randomBytes(32).toString('hex')
const postgres = serverAddress('TEST_DATABASE_URL')

let folder: string
let ledger: Ledger
let base: string
let environment: Record<string, string>
const running: ServiceProcess[] = []
const doneAfter: (() => Promise<unknown>)[] = []

/** All that production asks for; drafts are not sent. */
beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'daysix-approval-'))
  ledger = new Ledger()
  await ledger.start()
  await writeFile(join(folder, 'ledger.json'), ledger.description('ask-desk'))
  base = `http://127.0.0.1:${await freePort()}`
  environment = {
    ...ledger.environment,
    NODE_ENV: 'production',
    DATA_DIR: join(folder, 'data'),
    GATEWAYS_DIR: folder,
    PORT: new URL(base).port,
    PUBLIC_URL: base,
    SWEEP_SECONDS: '1',
    DAYSIX_KEY: randomBytes(32).toString('base64'),
    DAYSIX_API_KEY: API_KEY,
    ALARM_COVER: 'The nurse on call answers at any hour.',
  }
})
afterEach(async ({ task }) => {
  if (task.result?.state === 'fail') for (const process of running) console.log(process.log.join('\n'))
  await Promise.all(running.splice(0).map((process) => process.kill()))
  for (const each of doneAfter.splice(0).reverse()) await each()
  await ledger.stop()
  await rm(folder, { recursive: true, force: true })
})

function start(role: 'web' | 'worker' | 'all'): ServiceProcess {
  const started = new ServiceProcess({ role, environment })
  running.push(started)
  started.start()
  return started
}

function texts(...options: string[]): Promise<{ code: number; stdout: string; stderr: string }> {
  const { PATH, HOME } = process.env
  const env = { PATH, HOME, ...environment } as unknown as NodeJS.ProcessEnv
  return run(process.execPath, ['src/cli/daysix.mjs', 'texts', '--language', 'en', ...options], { env }).then(
    ({ stdout, stderr }) => ({ code: 0, stdout, stderr }),
    ({ code, stdout, stderr }: { code: number; stdout: string; stderr: string }) => ({ code, stdout, stderr }),
  )
}

const APPROVAL = ['--approve', 'Lead nurse', '--on', '2026-12-01']
const health = async () => (await fetch(`${base}/health/ready`)).json() as Promise<Record<string, boolean>>

it('on the embedded database: approved before the start; while it runs, the command points to the page', async () => {
  const approved = await texts(...APPROVAL)
  expect(approved).toMatchObject({ code: 0, stdout: expect.stringMatching(/^\d+ texts in en approved by Lead nurse/) })
  expect((await texts()).stdout).toMatch(/en +prep +sms full .* approved/)
  const all = start('all')
  await eventually('it is ready', () => isReady(base))
  expect(await health()).toEqual({ ready: true, database: true, queue: true })
  expect(all.log.join('\n')).not.toContain('Nothing goes out yet')
  const refused = await texts(...APPROVAL)
  expect(refused.code).not.toBe(0)
  expect(refused.stderr.trim().split('\n')).toEqual([
    'The service is running and has the database to itself: approve on the desk\'s page "Texts", or stop it first.',
  ])
  const listed = await texts()
  expect(listed).toMatchObject({ code: 0, stderr: expect.stringContaining('stands on its page "Texts"') })
  expect(listed.stdout).not.toMatch(/draft|approved/)
})

it.skipIf(!postgres)('with several processes: nothing is claimed until a language is approved', async () => {
  const { url, drop } = await freshDatabase(postgres!)
  doneAfter.push(drop)
  environment.DATABASE_URL = url
  const web = start('web')
  start('worker')
  await eventually('it is ready', () => isReady(base))
  expect(await health()).toEqual({ ready: true, database: true, queue: true, sends: false })
  await eventually('it says so', () => web.log.some((line) => line.startsWith('Nothing goes out yet:')))
  const desk = new Desk(base, API_KEY)
  await desk.clinic()
  const booking = await desk.book()
  await eventually('it waits', async () => (await desk.confirmation(booking)).state === 'queued')
  expect(await texts(...APPROVAL)).toMatchObject({ code: 0 })
  await eventually('it is sent', async () => (await desk.confirmation(booking)).state === 'sent', 120)
  expect(await health()).toEqual({ ready: true, database: true, queue: true })
  expect(ledger.acceptances).toHaveLength(1)
})
