import { BrokenSeal, type Vault } from '../vault/vault.ts'

/**
 * Every sealed column. A value is bound to its field and its row: moved to another one it does not open. The names at
 * the left are part of every value and stay for ever, whatever becomes of table and column.
 */
export const SEALED_FIELDS = {
  patient: { table: 'patient', column: 'sealed', key: 'id' },
  consent: { table: 'consent', column: 'sealed', key: 'id', boundTo: ['patient_id', 'channel', 'recorded_at'] },
  'booking-lapses': { table: 'booking', column: 'sealed_lapses', key: 'id' },
  'booking-needs': { table: 'booking', column: 'sealed_needs', key: 'id' },
  'booking-outcome': { table: 'booking', column: 'sealed_outcome', key: 'id' },
  message: { table: 'message', column: 'sealed', key: 'id' },
  reply: { table: 'reply', column: 'sealed', key: 'id' },
  'long-reply': { table: 'long_reply', column: 'sealed', key: 'id' },
  'follow-up': { table: 'follow_up', column: 'sealed', key: 'id' },
  'follow-up-end': { table: 'follow_up', column: 'sealed_end', key: 'id' },
  event: { table: 'happening', column: 'sealed', key: 'id', boundTo: ['booking_id', 'at', 'what'] },
  answer: { table: 'idempotency', column: 'sealed', key: 'key' },
  person: { table: 'person', column: 'sealed', key: 'id' },
  'near-miss': { table: 'near_miss', column: 'sealed', key: 'id' },
  'near-miss-review': { table: 'near_miss', column: 'sealed_review', key: 'id' },
  'feed-visit': { table: 'feed_visit', column: 'sealed', key: 'id' },
  'feed-patient': { table: 'feed_patient', column: 'sealed', key: 'id' },
  'feed-alias': { table: 'feed_alias', column: 'sealed', key: 'id' },
  'feed-series': { table: 'feed_series', column: 'sealed', key: 'id' },
  'feed-fault': { table: 'feed_fault', column: 'sealed', key: 'id' },
  'feed-resource': { table: 'feed_resource', column: 'sealed', key: 'id' },
  'feed-telling': { table: 'feed_telling', column: 'sealed', key: 'id' },
  'sending-stop': { table: 'sending_stop', column: 'sealed', key: 'scope' },
} as const satisfies Record<string, SealedColumn>

export interface SealedColumn {
  table: string
  column: string
  /** The primary key, one column. */
  key: string
  /** What of the row a value is bound to, where its key is made by the database and not known yet; else the key. */
  boundTo?: readonly string[]
}

/** The sealed columns of a table, by their names. */
export function sealedIn(table: string): [SealedName, SealedColumn][] {
  const all = Object.entries(SEALED_FIELDS) as [SealedName, SealedColumn][]
  return all.filter(([, column]) => column.table === table)
}

export type SealedName = keyof typeof SEALED_FIELDS

/** What a value of this field is bound to. @param row the columns of `boundTo`, in their order, or the key alone */
export function bondOf(name: SealedName, row: readonly unknown[]): string {
  return `${name} ${row.map((value) => (value instanceof Date ? value.toISOString() : String(value))).join(' ')}`
}

/** Seals and opens what one field holds, as JSON. The row is named by its key, or by what `boundTo` lists. */
export interface SealedField<T> {
  seal(value: T, ...row: readonly unknown[]): string
  /**
   * @param instead what to show for a value that was altered or put here from another row: one such row must not close
   *   a whole list
   * @throws BrokenSeal without it
   */
  open(sealed: string, row: readonly unknown[], instead?: (() => T) | undefined): T
}

export function sealedField<T>(vault: Vault, name: SealedName): SealedField<T> {
  return {
    seal: (value, ...row) => vault.seal(JSON.stringify(value), bondOf(name, row)),
    open: (sealed, row, instead) => {
      try {
        return JSON.parse(vault.open(sealed, bondOf(name, row))) as T
      } catch (error) {
        if (instead && error instanceof BrokenSeal) return instead()
        throw error
      }
    },
  }
}

/** What is shown in place of a value that cannot be read. */
export const UNREADABLE = '(cannot be read)'
