import { hkdfSync } from 'node:crypto'

/**
 * The keys at hand, oldest first. The oldest makes look-up keys for ever, since what was found by it must go on being
 * found; the newest seals; all of them open.
 */
export interface KeyRing {
  oldest(): RingKey
  newest(): RingKey
  byId(id: string): RingKey | undefined
}

export interface RingKey {
  id: string
  key: Buffer
}

export const KEY_BYTES = 32
/**
 * What the oldest key is called, whatever it is: rows were sealed under this name before keys had names of their own.
 */
const OLDEST_ID = 'k1'
/**
 * A key so marked opens only (the sign is none of base64): so that every process can open what the first to be
 * restarted will seal.
 */
const OPENS_ONLY = '~'

/** The name of a key, made from it, so that no list of names has to be kept. */
function idOf(key: Buffer): string {
  return `k${Buffer.from(hkdfSync('sha256', key, Buffer.alloc(0), 'daysix key id', 5)).toString('hex')}`
}

/** Whether a text names one or more whole keys. */
export function isKeyList(text: string): boolean {
  const parts = partsOf(text)
  return (
    parts.length > 0 && !parts[0]!.startsWith(OPENS_ONLY) && parts.every((part) => bytesOf(part).length === KEY_BYTES)
  )
}

const partsOf = (text: string) => text.split(/[\s,]+/).filter((part) => part !== '')
const bytesOf = (part: string) => Buffer.from(part.replace(/^~/, ''), 'base64')

/** @param text keys in base64, oldest first, separated by commas or line ends. */
export function readKeyRing(text: string): KeyRing {
  const parts = partsOf(text)
  const keys = parts.map((part, index) => ({
    id: index === 0 ? OLDEST_ID : idOf(bytesOf(part)),
    key: bytesOf(part),
    seals: !part.startsWith(OPENS_ONLY),
  }))
  const byId = new Map(keys.map((each) => [each.id, each]))
  return { oldest: () => keys[0]!, newest: () => keys.findLast(({ seals }) => seals)!, byId: (id) => byId.get(id) }
}
