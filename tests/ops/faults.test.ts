import { existsSync, mkdtempSync, mkdirSync, rmSync, writeFileSync } from 'node:fs'
import { createServer, type Server } from 'node:net'
import type { AddressInfo } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { TEST_KEY, freshDatabase, serverAddress, type FreshDatabase } from '../harness/servers.ts'
import { TRACE, daysix, expectPlain } from './plain-end.ts'

let folder: string
let busy: Server
let port: number

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'daysix-faults-'))
  busy = createServer()
  await new Promise<void>((done) => busy.listen(0, '127.0.0.1', done))
  port = (busy.address() as AddressInfo).port
  writeFileSync(join(folder, 'file'), 'no folder')
  mkdirSync(join(folder, 'gateways'))
  writeFileSync(join(folder, 'gateways/broken.yaml'), 'kind: http\nname: [texts\n')
  writeFileSync(join(folder, 'gateways/unknown.yaml'), 'kind: pigeon\nname: texts\n')
  writeFileSync(join(folder, 'gateways/fields.yaml'), 'kind: smpp\nname: Big Letters\n')
  mkdirSync(join(folder, 'empty'))
})
afterAll(() => {
  busy.close()
  rmSync(folder, { recursive: true, force: true })
})

/** What a service needs that takes HL7 over MLLP. */
const mllp = () => ({ DATA_DIR: join(folder, 'd1'), PORT: '0', MLLP_PORT: '0', FEEDS_DIR: join(folder, 'empty') })
const EVERY_COMMAND = [['serve'], ['migrate'], ['person', 'list'], ['api-key', 'list'], ['sending', 'show']]

describe('a start with wrong settings ends with status 78, and says every one', () => {
  it('of those that are wrong by themselves, and of those that production asks for', async () => {
    const ended = await daysix(['serve'], {
      NODE_ENV: 'production',
      PORT: 'abc',
      HORIZON_HOURS: '0',
      TRUST_PROXY: '9',
      SESSION_IDLE_MINUTES: '99999',
    })
    expect(ended.code).toBe(78)
    expect(ended.stderr).not.toMatch(TRACE)
    for (const line of [
      'PORT: Give a port number from 0 to 65535.',
      'HORIZON_HOURS: Give a whole number from 1 to 336.',
      'TRUST_PROXY: Give the number of proxies in front from 0 to 5.',
      'SESSION_IDLE_MINUTES: Give a whole number from 1 to 720.',
      'DAYSIX_KEY: Set it in production',
      'DAYSIX_API_KEY: Set it in production',
      'PUBLIC_URL: Set it in production',
      'ALARM_COVER: Set it in production',
      'GATEWAYS_DIR: Set it in production',
    ])
      expect(ended.stderr).toContain(line)
  })

  it('of gateways: the folder, or every file with what is wrong in it', async () => {
    const missing = await daysix(['serve'], { DATA_DIR: join(folder, 'd1'), GATEWAYS_DIR: join(folder, 'nowhere') })
    expectPlain(missing, 78, [/GATEWAYS_DIR: the folder .*nowhere is not there/])
    const wrong = await daysix(['serve'], { DATA_DIR: join(folder, 'd1'), GATEWAYS_DIR: join(folder, 'gateways') })
    expect(wrong.code).toBe(78)
    expect(wrong.stderr).toMatch(/^broken\.yaml, line \d+/m)
    expect(wrong.stderr).toMatch(/^unknown\.yaml: .*Kinds are/m)
    expect(wrong.stderr).toMatch(/^fields\.yaml: name: Use small letters/m)
    expect(wrong.stderr).not.toMatch(TRACE)
  })

  it('of HL7 over MLLP: what its settings ask of each other, and in production of the line', async () => {
    const wrong = await daysix(['serve'], { MLLP_PORT: '2575', MLLP_CERT: '/nowhere.crt' })
    expectPlain(wrong, 78, ['FEEDS_DIR: Set it', 'MLLP_KEY: Set MLLP_CERT and MLLP_KEY together.'])
    const more = await daysix(['serve'], { MLLP_KEY: '/nowhere.key', MLLP_CLIENT_CA: '/nowhere.ca' })
    expectPlain(more, 78, ['MLLP_PORT: Set it', 'MLLP_CERT: Set MLLP_CERT and MLLP_KEY together.'])
    const abroad = { NODE_ENV: 'production', MLLP_PORT: '2575', FEEDS_DIR: folder, MLLP_HOST: '0.0.0.0' }
    const open = await daysix(['serve'], abroad)
    expect(open.stderr).toContain('MLLP_CERT: In production MLLP must come over TLS')
    expect(open.stderr).toContain('MLLP_CLIENT_CA: MLLP has no sign-in')
    const near = await daysix(['serve'], { ...abroad, MLLP_HOST: '127.0.0.1' })
    expect(near.stderr).not.toContain('MLLP_')
  })

  it('of certificates that are none', async () => {
    const file = join(folder, 'file')
    const ended = await daysix(['serve'], { ...mllp(), MLLP_CERT: file, MLLP_KEY: file })
    expectPlain(ended, 78, [`MLLP_CERT: ${file} and ${file} are no certificate and its key, in PEM`, /Name the right/])
  })

  it('of the folder for the protocols of the site', async () => {
    for (const where of ['nowhere', 'file', 'empty']) {
      const SITE_TEMPLATES_DIR = join(folder, where)
      const ended = await daysix(['serve'], { DATA_DIR: join(folder, 'd1'), SITE_TEMPLATES_DIR })
      expectPlain(ended, 78, [`SITE_TEMPLATES_DIR: ${SITE_TEMPLATES_DIR}`])
    }
  })
})

describe('a start on a machine that is not as the settings say ends with status 1 and plain lines', () => {
  it('where the port is in use, or the address is another machine’s', async () => {
    const DATA_DIR = join(folder, 'd1')
    expectPlain(await daysix(['serve'], { DATA_DIR, PORT: String(port) }), 1, [
      `PORT: port ${port} of 127.0.0.1 is in use`,
      /set PORT/,
    ])
    const HOST = '192.0.2.7' // TEST-NET-1, RFC 5737
    const elsewhere = await daysix(['serve'], { DATA_DIR, HOST, DAYSIX_API_KEY: 'a-key-of-the-test' })
    expectPlain(elsewhere, 1, ['HOST: 192.0.2.7 is no address of this machine'])
  })

  it('where the port for HL7 is in use, or a certificate is not there', async () => {
    expectPlain(await daysix(['serve'], { ...mllp(), MLLP_PORT: String(port) }), 1, [
      `MLLP_PORT: port ${port} of 127.0.0.1 is in use`,
      /set MLLP_PORT/,
    ])
    const nowhere = join(folder, 'nowhere.crt')
    const ended = await daysix(['serve'], { ...mllp(), MLLP_CERT: nowhere, MLLP_KEY: join(folder, 'file') })
    expectPlain(ended, 1, [`MLLP_CERT: ${nowhere} is not there`])
  })

  it('where the data folder cannot be one, for every command', async () => {
    const DATA_DIR = join(folder, 'file')
    for (const command of [...EVERY_COMMAND, ['move-in']]) {
      const ended = await daysix(command, {
        DATA_DIR,
        ...(command[0] === 'move-in' && { DATABASE_URL: 'postgres://127.0.0.1:1/x' }),
      })
      expectPlain(ended, 1, [/^DATA_DIR: .*file is no folder/, /Name a folder/])
    }
  })

  it('where nothing can be made, instead of trying for ever', async () => {
    const ended = await daysix(['serve'], { DATA_DIR: '/proc/daysix' })
    expectPlain(ended, 1, [/^DATA_DIR: \/proc\/daysix/])
  })

  it('with the place in the code for whoever asks for it', async () => {
    const ended = await daysix(['serve'], { DATA_DIR: join(folder, 'file'), LOG_LEVEL: 'debug' })
    expect(ended.code).toBe(1)
    expect(ended.stderr).toMatch(/^DATA_DIR: /)
    expect(ended.stderr).toMatch(TRACE)
  })
})

const server = serverAddress('TEST_DATABASE_URL')
describe.skipIf(!server)('towards PostgreSQL', () => {
  let database: FreshDatabase
  const DATA_DIR = () => join(folder, 'd2')
  const changed = (change: (url: URL) => void) => {
    const url = new URL(database.url)
    change(url)
    return { DATA_DIR: DATA_DIR(), DAYSIX_KEY: TEST_KEY, DATABASE_URL: url.href, LOG_LEVEL: 'warn' }
  }
  beforeAll(async () => {
    database = await freshDatabase(server!)
  })
  afterAll(() => database.drop())

  it('a database that is not there is named by every command', async () => {
    const settings = changed((url) => (url.pathname = '/nowhere'))
    for (const command of [...EVERY_COMMAND, ['move-in']])
      expectPlain(await daysix(command, settings), 1, [/no database of this name/, /createdb/])
  })

  it('a server without TLS is said where TLS is asked for', async () => {
    const settings = changed((url) => url.searchParams.set('sslmode', 'require'))
    expectPlain(await daysix(['serve'], settings), 1, [/speaks no TLS, but sslmode asks for it/])
  })

  it('a host that is not there is waited for, and named; a command does not wait', async () => {
    const settings = changed((url) => (url.hostname = 'nowhere.invalid')) // RFC 2606
    const waited = await daysix(['serve'], settings, 6_000)
    expect(waited.code).toBeNull()
    expect(waited.stdout).toMatch(/does not answer yet: trying again/)
    expect(waited.stdout).toMatch(/DATABASE_URL: the (name of its host is not known here|host)|cannot be looked up/)
    expectPlain(await daysix(['person', 'list'], settings), 1, [/DATABASE_URL: the name of its host/])
  })
})

it('a rotation with the key in the environment says that it made none, and what to do', async () => {
  const data = join(folder, 'rotated')
  const ended = await daysix(['rotate-key'], { DATA_DIR: data, DAYSIX_KEY: TEST_KEY })
  expect(ended.stdout).toMatch(/^no new key was made: DAYSIX_KEY is set\. Draw one .*, add it at the end/)
  expect(ended.code).toBe(0)
  expect(existsSync(join(data, 'sealing.key'))).toBe(false)
})
