import { execFile } from 'node:child_process'
import { mkdtemp, readFile, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { OwnPostgres, POSTGRES } from '../harness/own-postgres.ts'
import { OwnRedis } from '../harness/own-redis.ts'
import { TEST_KEY, serverAddress } from '../harness/servers.ts'
import { Desk } from '../service/desk.ts'
import { TRACE, daysix, expectPlain } from './plain-end.ts'

const run = promisify(execFile)
/** With signs that an address must write otherwise. */
const RIGHT = 'the right/one@17'
const STACK = /"stack"|^\s+at /m
const WRONG = 'the-wrong-one-4711'

describe.skipIf(!POSTGRES)('a PostgreSQL that does not let us in', () => {
  let postgres: OwnPostgres
  let folder: string
  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-refused-'))
    postgres = await OwnPostgres.start()
    await postgres.ask(`create role daysix login password '${RIGHT}'`)
    await postgres.ask('create database daysix owner daysix')
  })
  afterAll(async () => {
    await postgres.end()
    await rm(folder, { recursive: true, force: true })
  })

  const settings = (DATABASE_URL: string) => ({ DATABASE_URL, DATA_DIR: folder, DAYSIX_KEY: TEST_KEY })
  /** Of the service and of a command, whose words are the same. */
  async function expectRefused(address: string, ...words: (string | RegExp)[]): Promise<void> {
    for (const command of [['serve'], ['person', 'list']]) {
      const ended = await daysix(command, { ...settings(address), LOG_LEVEL: 'info' }, 30_000)
      // Not 78: an administrator of PostgreSQL may mend it there, and then the next start goes well.
      expectPlain(ended, 1, words)
      expect(ended.stderr.trim().split('\n')).toHaveLength(2)
      const all = ended.stdout + ended.stderr
      expect(all).not.toMatch(TRACE)
      for (const secret of [RIGHT, encodeURIComponent(RIGHT), WRONG]) expect(all).not.toContain(secret)
    }
  }

  it('says so of a wrong password, of none, and of a role that is not there', async () => {
    const refuses = [/^DATABASE_URL: the server refuses the user or the password/, /Mend them/] as const
    await expectRefused(postgres.address('daysix', WRONG, 'daysix'), ...refuses)
    // To whoever cannot prove who they are, PostgreSQL does not tell which of the two is wrong.
    await expectRefused(postgres.address('nobody', WRONG, 'daysix'), ...refuses)
    await expectRefused(postgres.address('daysix', null, 'daysix'), /^DATABASE_URL: the server asks for a password/)
  })

  it('tells whoever asks for it where in the code, and no password even then', async () => {
    const wrong = settings(postgres.address('daysix', WRONG, 'daysix'))
    const ended = await daysix(['serve'], { ...wrong, LOG_LEVEL: 'debug' })
    expect(ended.code).toBe(1)
    expect(ended.stderr).toMatch(TRACE)
    expect(ended.stdout + ended.stderr).not.toContain(WRONG)
  })

  it('says so of TLS: not there, signed by nobody known, or for another name', async () => {
    const address = (more: string) => postgres.address('daysix', RIGHT, 'daysix', more)
    await expectRefused(address('?sslmode=require'), /^DATABASE_URL: the server speaks no TLS, but sslmode asks for it/)
    await speakTls('self', '127.0.0.1')
    await expectRefused(address('?sslmode=verify-full'), /certificate of the database server is signed by itself/)
    // For another name, and yet vouched for.
    await speakTls('other', '192.0.2.7') // TEST-NET-1, RFC 5737
    const other = `?sslmode=verify-full&sslrootcert=${join(folder, 'other.crt')}`
    await expectRefused(address(other), /certificate of the database server is for another name/)
    await speakTls('right', '127.0.0.1')
    const ended = await daysix(
      ['migrate'],
      settings(address(`?sslmode=verify-full&sslrootcert=${join(folder, 'right.crt')}`)),
    )
    expect(ended, ended.stderr).toMatchObject({ code: 0 })
  })

  /** Has it show a certificate that is signed by itself. */
  async function speakTls(name: string, address: string): Promise<void> {
    const [key, crt] = [join(folder, `${name}.key`), join(folder, `${name}.crt`)]
    const ask = ['req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:P-256', '-nodes', '-days', '2']
    const subject = ['-subj', `/CN=${name}`, '-addext', `subjectAltName=IP:${address}`]
    await run('openssl', [...ask, ...subject, '-keyout', key, '-out', crt])
    for (const file of [`${name}.key`, `${name}.crt`])
      await postgres.put(file, await readFile(join(folder, file), 'utf8'))
    await postgres.reload({ ssl: 'on', ssl_key_file: `${name}.key`, ssl_cert_file: `${name}.crt` })
  }
})

describe.skipIf(!serverAddress('TEST_REDIS_URL'))('a Redis that does not let us in', () => {
  let redis: OwnRedis
  let folder: string
  let service: ServiceProcess
  beforeEach(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-refused-'))
    redis = await OwnRedis.start('the-right-one-17')
  })
  afterEach(async () => {
    await service.kill()
    await redis.end()
    await rm(folder, { recursive: true, force: true })
  })

  // The queue only keeps time: what is due goes out by the sweep. So patients' pages and the desk must not end for it.
  it.each([
    ['a password that is wrong', `:${WRONG}@`, WRONG],
    ['no password', '', ''],
  ])(
    'keeps nothing else from its work, is said in one line, and taken up once mended: %s',
    async (_kind, login, set) => {
      const base = `http://127.0.0.1:${await freePort()}`
      const REDIS_URL = `redis://${login}127.0.0.1:${redis.port}`
      const ours = { DATA_DIR: folder, PORT: new URL(base).port, REDIS_URL, SWEEP_SECONDS: '1', LOG_LEVEL: 'info' }
      service = new ServiceProcess({ role: 'all', environment: ours })
      service.start()
      const ready = async () => (await fetch(`${base}/health/ready`)).json() as Promise<Record<string, boolean>>
      await eventually('it tells', async () => (await ready()).queue === false)
      expect(await ready()).toMatchObject({ ready: false, database: true, queue: false })
      const desk = new Desk(base)
      await desk.clinic('pocket')
      await desk.book()
      const said = service.log.filter((line) => line.includes('REDIS_URL'))
      expect(said).toHaveLength(1)
      expect(said[0]).toMatch(/Redis refuses the user or the password of REDIS_URL: mend them/)
      expect(service.log.join('\n')).not.toMatch(STACK)
      expect(service.log.join('\n')).not.toContain(WRONG)
      await redis.ask('config', 'set', 'requirepass', set)
      await eventually('it is ready', () => isReady(base))
      const later = await desk.book()
      await eventually('it is sent', async () => (await desk.confirmation(later)).state === 'sent')
    },
  )
})
