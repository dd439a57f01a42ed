import { mkdtemp, readFile, rm, stat, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { randomBytes } from 'node:crypto'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { checkLookUpKey, countByKey, resealAll } from '../../src/adapters/db/reseal.ts'
import { addKeyToFile, sealingKeys } from '../../src/adapters/vault/key-file.ts'
import { readKeyRing } from '../../src/adapters/vault/key-ring.ts'
import { createVault } from '../../src/adapters/vault/vault.ts'
import { compose, type Composed } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { ensureFirstClinic } from '../../src/flows/region/first-clinic.ts'
import { SOON } from '../harness/patience.ts'
import { bookAndRing } from '../../src/flows/visits/book-visit.ts'

const key = () => randomBytes(32).toString('base64')

describe('sealed values', () => {
  const vault = createVault(readKeyRing(key()))

  it('are never the same twice, and open to what was sealed', () => {
    const [a, b] = [vault.seal('Ada Fenwick', 'a row'), vault.seal('Ada Fenwick', 'a row')]
    expect(a).not.toBe(b)
    expect([vault.open(a, 'a row'), vault.open(b, 'a row')]).toEqual(['Ada Fenwick', 'Ada Fenwick'])
  })

  it('do not open once a single bit is changed, cut or said to be sealed with another key', () => {
    const sealed = vault.seal('2026-03-02', 'a row')
    const [id, body] = sealed.split('.') as [string, string]
    const bytes = Buffer.from(body, 'base64url')
    for (let bit = 0; bit < bytes.length * 8; bit++) {
      const altered = Buffer.from(bytes)
      altered[bit >> 3]! ^= 1 << (bit & 7)
      expect(() => vault.open(`${id}.${altered.toString('base64url')}`, 'a row')).toThrow()
    }
    for (let length = 0; length < bytes.length; length++)
      expect(() => vault.open(`${id}.${bytes.subarray(0, length).toString('base64url')}`, 'a row')).toThrow()
    expect(() => vault.open(`k2.${body}`, 'a row')).toThrow(/not at hand/)
  })
})

describe('a list of keys', () => {
  const [first, second, third] = [key(), key(), key()]

  it('seals with the newest, opens with all, looks up with the oldest', () => {
    const before = createVault(readKeyRing(first))
    const after = createVault(readKeyRing(`${first},${second}`))
    expect(after.open(before.seal('x', 'a row'), 'a row')).toBe('x')
    expect(() => before.open(after.seal('x', 'a row'), 'a row')).toThrow(/not at hand/)
    expect(after.fingerprint('+16135550101')).toBe(before.fingerprint('+16135550101'))
  })

  it('a key marked ~ opens but does not seal yet: so servers can be restarted one after the other', () => {
    const notYet = createVault(readKeyRing(`${first},~${second}`))
    const already = createVault(readKeyRing(`${first},${second}`))
    expect(notYet.open(already.seal('x', 'a row'), 'a row')).toBe('x')
    expect(already.open(notYet.seal('x', 'a row'), 'a row')).toBe('x')
    expect(notYet.sealsWith()).toBe('k1')
  })

  it('names a key the same wherever it stands', () => {
    const two = createVault(readKeyRing(`${first},${second}`))
    const three = createVault(readKeyRing(`${first},${third},${second}`))
    expect(three.open(two.seal('x', 'a row'), 'a row')).toBe('x')
  })

  it.each([
    ['', false],
    [key(), true],
    [`${key()},${key()}`, true],
    [`~${key()}`, false],
    ['short', false],
    [`${key()},short`, false],
  ])('the setting "%s" is taken: %s', (value, good) => {
    const load = () => loadConfig({ DAYSIX_KEY: value })
    if (good || value === '') expect(load).not.toThrow()
    else expect(load).toThrow(/DAYSIX_KEY/)
  })
})

describe('a new key for data that are there', () => {
  let folder: string
  let service: Composed

  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-keys-'))
    service = await compose(loadConfig({ DATA_DIR: folder, LOG_LEVEL: 'silent' }))
    await ensureFirstClinic(service.deps)
  })
  afterAll(async () => {
    await service.close()
    await rm(folder, { recursive: true })
  })

  let count = 0
  const firstVisit = Date.now() + 30 * 86_400_000
  const book = () =>
    bookAndRing(service.deps, {
      protocol: 'liquid-based-cytology',
      visit: new Date(firstVisit + count++ * 20 * 60_000).toISOString(),
      patient: {
        name: `Patient ${count}`,
        phone: `613 555 01${String(count % 100).padStart(2, '0')}`,
        language: 'en',
        channel: 'sms',
        detail: 'full',
      },
      cycle: { status: 'unknown' },
      consent: { recordedBy: 'desk' },
      by: 'desk',
    })

  it('the key file belongs to its owner alone', async () => {
    expect((await stat(join(folder, 'sealing.key'))).mode & 0o777).toBe(0o600)
    expect((await stat(folder)).mode & 0o777).toBe(0o700)
  })

  it('everything is sealed anew while visits are being booked and read, and nothing is lost', async () => {
    const first = await Promise.all(Array.from({ length: 30 }, book))
    const id = await addKeyToFile(folder)
    expect((await stat(join(folder, 'sealing.key'))).mode & 0o777).toBe(0o600)
    const during: Promise<unknown>[] = []
    const traffic = setInterval(() => during.push(book(), service.deps.store.read.patients.byPhone('+16135550105')), 15)
    // the running service takes the key up
    await vi.waitUntil(() => service.vault.sealsWith() === id && during.length > 20, SOON)
    const anew = await resealAll(service.database, service.vault)
    clearInterval(traffic)
    const settled = await Promise.allSettled(during)
    await resealAll(service.database, service.vault)
    expect(settled.filter(({ status }) => status === 'rejected')).toEqual([])
    expect(anew).toBeGreaterThan(60)
    expect(Object.keys(await countByKey(service.database))).toEqual([id])
    for (const { patient } of first) expect(await service.deps.store.read.patients.get(patient.id)).toEqual(patient)
    expect(await service.deps.store.read.patients.byPhone('+16135550105')).not.toEqual([])
  })

  it('without the key that keeps the look-ups the service does not start', async () => {
    const other = createVault(readKeyRing(key()))
    await expect(checkLookUpKey(service.database, other)).rejects.toThrow(/another key/)
    await expect(checkLookUpKey(service.database, service.vault)).resolves.toBeUndefined()
  })

  it('a damaged key file stops the start with what to do', async () => {
    const aside = await mkdtemp(join(tmpdir(), 'daysix-damaged-'))
    await writeFile(join(aside, 'sealing.key'), (await readFile(join(folder, 'sealing.key'), 'utf8')).slice(0, 30))
    await expect(sealingKeys(undefined, aside, async () => false)).rejects.toThrow(/damaged/)
    await rm(aside, { recursive: true })
  })
})
