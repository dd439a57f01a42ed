import type { Ask } from './audit.ts'

/** The sweep rings for what is overdue by a minute; whatever was claimed sooner, the queue rang for. */
const OVERDUE_MS = 60_000
/** Ids begin with the time at which they were made. */
const ALPHABET = '0123456789abcdefghjkmnpqrstvwxyz'
const madeAt = (id: string) => [...id.slice(2, 11)].reduce((sum, letter) => sum * 32 + ALPHABET.indexOf(letter), 0)

/** Who rang for what was sent: nobody had to wait for what was due when it was written. */
export interface Rings {
  atOnce: number
  byQueue: number
  bySweep: number
}

export async function countRings(ask: Ask): Promise<Rings> {
  const rows = (await ask('select id, send_at, claimed_at from message where claimed_at is not null')) as {
    id: string
    send_at: Date
    claimed_at: Date
  }[]
  const rings = { atOnce: 0, byQueue: 0, bySweep: 0 }
  for (const { id, send_at, claimed_at } of rows) {
    if (send_at.getTime() - madeAt(id) < OVERDUE_MS) rings.atOnce++
    else if (claimed_at.getTime() - send_at.getTime() <= OVERDUE_MS) rings.byQueue++
    else rings.bySweep++
  }
  return rings
}
