import { randomBytes } from 'node:crypto'
import { existsSync } from 'node:fs'
import { chmod, mkdtemp, readFile, rm, stat } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { forgetFirstCode, sayFirstCode } from '../../src/adapters/sign-in/first-code.ts'
import { loadConfig } from '../../src/config.ts'
import { looksDrawn, looksRandom } from '../../src/domain/access/strong-secret.ts'
import { openLines } from '../../src/adapters/db/open-lines.ts'

const GOOD = {
  NODE_ENV: 'production',
  DAYSIX_KEY: randomBytes(32).toString('base64'),
  DAYSIX_API_KEY: randomBytes(32).toString('hex'),
  PUBLIC_URL: 'https://texts.example',
  ALARM_COVER: 'The nurse on call answers by telephone.',
  GATEWAYS_DIR: '/gateways',
}
const counting = Uint8Array.from({ length: 32 }, (_, index) => index)

describe('the settings of production', () => {
  it('are taken when they are good', () => {
    expect(() => loadConfig(GOOD)).not.toThrow()
    expect(() => loadConfig({ ...GOOD, PUBLIC_URL: 'http://127.0.0.1:8460' })).not.toThrow()
  })

  it.each([
    ['DAYSIX_KEY', Buffer.alloc(32).toString('base64')],
    ['DAYSIX_KEY', Buffer.alloc(32, 7).toString('base64')],
    ['DAYSIX_KEY', Buffer.from(counting).toString('base64')],
    ['DAYSIX_KEY', Buffer.from('abcdabcdabcdabcdabcdabcdabcdabcd').toString('base64')],
    ['DAYSIX_KEY', `${GOOD.DAYSIX_KEY},~${Buffer.alloc(32).toString('base64')}`],
    ['DAYSIX_API_KEY', 'a'.repeat(16)],
    ['DAYSIX_API_KEY', 'a'.repeat(64)],
    ['DAYSIX_API_KEY', 'abcdefghijkl'.repeat(4)],
    ['DAYSIX_API_KEY', randomBytes(8).toString('hex')],
    ['PUBLIC_URL', 'http://texts.example'],
    ['PUBLIC_URL', 'http://localhost.texts.example'],
  ])('%s is not %s', (name, value) => {
    expect(() => loadConfig({ ...GOOD, [name]: value })).toThrow(new RegExp(`${name}:`))
    expect(() => loadConfig({ ...GOOD, NODE_ENV: 'test', [name]: value })).not.toThrow()
  })

  it('what is drawn by lot is never refused', () => {
    for (let i = 0; i < 5_000; i++) {
      expect(looksRandom(randomBytes(32))).toBe(true)
      expect(looksDrawn(randomBytes(32).toString(i % 2 === 0 ? 'hex' : 'base64'))).toBe(true)
    }
  })

  it.each([
    [{ DATABASE_URL: 'postgres://d:x@db.example.org/d' }, ['DATABASE_URL']],
    [{ DATABASE_URL: 'postgres://d:x@db.example.org/d?sslmode=verify-full' }, []],
    [{ DATABASE_URL: 'postgres://d:x@10.1.2.3/d', REDIS_URL: 'redis://redis:6379' }, []],
    [{ DATABASE_URL: 'postgres://d:x@[::1]/d', REDIS_URL: 'redis://192.168.1.4:6379' }, []],
    [{ REDIS_URL: 'redis://:pw@203.0.113.9:6379' }, ['REDIS_URL']],
    [{ REDIS_URL: 'redis://10.0.0.1:6379,redis.example.org:6379' }, ['REDIS_URL']],
    [{ REDIS_URL: 'rediss://redis.example.org:6379' }, []],
    [{ TRACES_URL: 'http://collector:4318/v1/traces' }, []],
    [{ TRACES_URL: 'http://traces.example.org/v1/traces' }, ['TRACES_URL']],
    [{ TRACES_URL: 'https://traces.example.org/v1/traces' }, []],
  ])('of %o these lines are open to others: %j', (settings, open) => {
    expect(openLines(loadConfig(settings))).toEqual(open)
  })
})

describe('the one-time code of the first administrator', () => {
  const first = { login: 'administrator', code: 'ABCDE-FGHJK-MNPQR-STVWX-YZ234' }
  const url = 'https://texts.example'

  it('is said on a terminal, and outside production', async () => {
    for (const place of [
      { production: true, isTerminal: true },
      { production: false, isTerminal: false },
    ])
      expect(await sayFirstCode(first, { url, dataDir: '/nowhere', ...place })).toContain(first.code)
  })

  it('goes in production into no log, but into a file for the own account, until there is an administrator', async () => {
    const aside = await mkdtemp(join(tmpdir(), 'daysix-first-'))
    const dataDir = join(aside, 'not-there-yet')
    const path = join(dataDir, 'first-administrator.txt')
    const place = { url, dataDir, production: true, isTerminal: false }
    await sayFirstCode({ ...first, code: 'of an earlier start' }, place)
    await chmod(path, 0o644)
    const said = await sayFirstCode(first, place)
    expect(said).not.toContain(first.code)
    expect(said).toContain(path)
    expect((await stat(path)).mode & 0o777).toBe(0o600)
    expect(await readFile(path, 'utf8')).toContain(first.code)
    await forgetFirstCode(dataDir)
    expect(existsSync(path)).toBe(false)
    await rm(aside, { recursive: true })
  })
})
