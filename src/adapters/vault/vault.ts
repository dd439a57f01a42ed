import { createCipheriv, createDecipheriv, createHmac, hkdfSync, randomBytes } from 'node:crypto'
import { pooled } from '../ids.ts'
import type { KeyRing, RingKey } from './key-ring.ts'

/** Seals what must not be readable in the database or its backups, and makes look-up keys from it. */
export interface Vault {
  /**
   * AES-256-GCM; the answer names the key it was sealed with.
   * @param bond the place the value belongs to, e.g. field and row: it opens nowhere else
   */
  seal(plain: string, bond: string): string
  /** @throws BrokenSeal when it was altered or belongs elsewhere; an error when the key is not at hand. */
  open(sealed: string, bond: string): string
  /** Keyed hash for exact look-up; the same input always gives the same output. */
  fingerprint(plain: string): string
  /** Keyed hash by a key of its own: shows that something was written by this service, and by nobody else. */
  sign(plain: string): string
  /** Name of the key that seals now. */
  sealsWith(): string
  /** From now on values that are bound to no place, as older versions sealed them, do not open. */
  refuseUnbound(): void
}

/** A sealed value was altered, or belongs to another place. */
export class BrokenSeal extends Error {
  constructor(bond: string, cause?: unknown) {
    super(`What is sealed at "${bond}" cannot be read: it was altered, or belongs elsewhere.`, { cause })
    this.name = 'BrokenSeal'
  }
}

/** Before the sealed bytes of a value that is bound to its place; none of base64url. */
export const BOUND = '~'
const IV_BYTES = 12
const TAG_BYTES = 16

export function createVault(ring: KeyRing): Vault {
  const sealing = derivedKeys()
  const looking = derive(ring.oldest().key, 'look-up')
  const signing = derive(ring.oldest().key, 'audit head')
  let unboundToo = true
  return {
    seal: (plain, bond) => sealWith(sealing(ring.newest()), ring.newest().id, plain, bond),
    open: (sealed, bond) => openWith((id) => keyFor(ring, sealing, id), sealed, bond, unboundToo),
    fingerprint: lastKept((plain) => createHmac('sha256', looking).update(plain).digest('base64url')),
    sign: (plain) => createHmac('sha256', signing).update(plain).digest('base64url'),
    sealsWith: () => ring.newest().id,
    refuseUnbound: () => {
      unboundToo = false
    },
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

function sealWith(key: Buffer, keyId: string, plain: string, bond: string): string {
  const iv = newIv(IV_BYTES)
  const cipher = createCipheriv('aes-256-gcm', key, iv).setAAD(placeOf(keyId, bond))
  const body = Buffer.concat([cipher.update(plain, 'utf8'), cipher.final()])
  return `${keyId}.${BOUND}${Buffer.concat([iv, body, cipher.getAuthTag()]).toString('base64url')}`
}

/** What is checked beside the value: which key sealed it, and where it belongs. */
const placeOf = (keyId: string, bond: string) => Buffer.from(`${keyId}\n${bond}`)

function openWith(keyOf: (id: string) => Buffer, sealed: string, bond: string, unboundToo: boolean): string {
  const dot = sealed.indexOf('.')
  const keyId = sealed.slice(0, dot)
  const isBound = sealed[dot + 1] === BOUND
  const key = keyOf(keyId)
  if (!isBound && !unboundToo) throw new BrokenSeal(bond)
  const bytes = Buffer.from(sealed.slice(dot + (isBound ? 2 : 1)), 'base64url')
  try {
    const decipher = createDecipheriv('aes-256-gcm', key, bytes.subarray(0, IV_BYTES), {
      authTagLength: TAG_BYTES,
    }).setAAD(isBound ? placeOf(keyId, bond) : Buffer.from(keyId))
    decipher.setAuthTag(bytes.subarray(-TAG_BYTES))
    return Buffer.concat([decipher.update(bytes.subarray(IV_BYTES, -TAG_BYTES)), decipher.final()]).toString('utf8')
  } catch (error) {
    throw new BrokenSeal(bond, error)
  }
}
