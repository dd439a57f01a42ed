import { createCipheriv, createDecipheriv, createHmac, hkdfSync, randomBytes } from 'node:crypto'

/** Seals what must not be readable in the database or its backups, and makes look-up keys from it. */
export interface Vault {
  /** AES-256-GCM; the answer names the key it was sealed with. */
  seal(plain: string): string
  /** @throws when it was altered, or sealed with a key that is not at hand. */
  open(sealed: string): string
  /** Keyed hash for exact look-up; the same input always gives the same output. */
  fingerprint(plain: string): string
}

const IV_BYTES = 12
const TAG_BYTES = 16

/**
 * @param keys key id → 32 bytes. `current` seals; all of them open.
 * Fingerprints are made with `lookupKey`, which stays when sealing keys change, or look-ups would fail.
 */
export function createVault(keys: ReadonlyMap<string, Buffer>, current: string, lookupKey: Buffer): Vault {
  const sealing = new Map([...keys].map(([id, key]) => [id, derive(key, 'seal')]))
  const looking = derive(lookupKey, 'look-up')
  return {
    seal: (plain) => sealWith(sealing.get(current)!, current, plain),
    open: (sealed) => openWith(sealing, sealed),
    fingerprint: (plain) => createHmac('sha256', looking).update(plain).digest('base64url'),
  }
}

function derive(key: Buffer, purpose: string): Buffer {
  return Buffer.from(hkdfSync('sha256', key, Buffer.alloc(0), `daysix ${purpose}`, 32))
}

function sealWith(key: Buffer, keyId: string, plain: string): string {
  const iv = randomBytes(IV_BYTES)
  const cipher = createCipheriv('aes-256-gcm', key, iv).setAAD(Buffer.from(keyId))
  const body = Buffer.concat([cipher.update(plain, 'utf8'), cipher.final()])
  return `${keyId}.${Buffer.concat([iv, body, cipher.getAuthTag()]).toString('base64url')}`
}

function openWith(keys: ReadonlyMap<string, Buffer>, sealed: string): string {
  const dot = sealed.indexOf('.')
  const keyId = sealed.slice(0, dot)
  const key = keys.get(keyId)
  if (!key) throw new Error(`The key "${keyId}" that sealed this record is not at hand.`)
  const bytes = Buffer.from(sealed.slice(dot + 1), 'base64url')
  const decipher = createDecipheriv('aes-256-gcm', key, bytes.subarray(0, IV_BYTES)).setAAD(Buffer.from(keyId))
  decipher.setAuthTag(bytes.subarray(-TAG_BYTES))
  return Buffer.concat([decipher.update(bytes.subarray(IV_BYTES, -TAG_BYTES)), decipher.final()]).toString('utf8')
}
