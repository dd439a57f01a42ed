import { createCipheriv, createDecipheriv, createHmac, hkdfSync, randomBytes } from 'node:crypto'
import { pooled } from '../ids.ts'
import type { KeyRing, RingKey } from './key-ring.ts'

/** Seals what must not be readable in the database or its backups, and makes look-up keys from it. */
export interface Vault {
  /** AES-256-GCM; the answer names the key it was sealed with. */
  seal(plain: string): string
  /** @throws when it was altered, or sealed with a key that is not at hand. */
  open(sealed: string): string
  /** Keyed hash for exact look-up; the same input always gives the same output. */
  fingerprint(plain: string): string
  /** Name of the key that seals now. */
  sealsWith(): string
}

const IV_BYTES = 12
const TAG_BYTES = 16

export function createVault(ring: KeyRing): Vault {
  const sealing = derivedKeys()
  const looking = derive(ring.oldest().key, 'look-up')
  return {
    seal: (plain) => sealWith(sealing(ring.newest()), ring.newest().id, plain),
    open: (sealed) => openWith((id) => keyFor(ring, sealing, id), sealed),
    fingerprint: lastKept((plain) => createHmac('sha256', looking).update(plain).digest('base64url')),
    sealsWith: () => ring.newest().id,
  }
}

/**
 * Answers the same question twice in a row without working it out again: within a booking it is asked for one number
 * many times.
 */
function lastKept(of: (plain: string) => string): (plain: string) => string {
  let last = { plain: '', print: of('') }
  return (plain) => {
    if (plain !== last.plain) last = { plain, print: of(plain) }
    return last.print
  }
}

function derive(key: Buffer, purpose: string): Buffer {
  return Buffer.from(hkdfSync('sha256', key, Buffer.alloc(0), `daysix ${purpose}`, 32))
}

/** Derived once for each key of the ring. */
function derivedKeys(): (ringKey: RingKey) => Buffer {
  const derived = new Map<string, Buffer>()
  return ({ id, key }) => {
    const known = derived.get(id) ?? derive(key, 'seal')
    derived.set(id, known)
    return known
  }
}

function keyFor(ring: KeyRing, sealing: (key: RingKey) => Buffer, id: string): Buffer {
  const ringKey = ring.byId(id)
  if (!ringKey) throw new Error(`The key "${id}" that sealed this record is not at hand.`)
  return sealing(ringKey)
}

/** Each is used once: what is taken from the pool is gone from it. */
const newIv = pooled(randomBytes)

function sealWith(key: Buffer, keyId: string, plain: string): string {
  const iv = newIv(IV_BYTES)
  const cipher = createCipheriv('aes-256-gcm', key, iv).setAAD(Buffer.from(keyId))
  const body = Buffer.concat([cipher.update(plain, 'utf8'), cipher.final()])
  return `${keyId}.${Buffer.concat([iv, body, cipher.getAuthTag()]).toString('base64url')}`
}

function openWith(keyOf: (id: string) => Buffer, sealed: string): string {
  const dot = sealed.indexOf('.')
  const keyId = sealed.slice(0, dot)
  const bytes = Buffer.from(sealed.slice(dot + 1), 'base64url')
  const decipher = createDecipheriv('aes-256-gcm', keyOf(keyId), bytes.subarray(0, IV_BYTES), {
    authTagLength: TAG_BYTES,
  }).setAAD(Buffer.from(keyId))
  decipher.setAuthTag(bytes.subarray(-TAG_BYTES))
  return Buffer.concat([decipher.update(bytes.subarray(IV_BYTES, -TAG_BYTES)), decipher.final()]).toString('utf8')
}
