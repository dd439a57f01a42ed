import { Failure } from '../../domain/failure.ts'
import type { FollowUpReason } from '../../domain/calls/follow-up.ts'
import { FOLLOW_UP_REASONS } from '../../domain/calls/follow-up-reasons.ts'
import { BOUND, BrokenSeal, type Vault } from '../vault/vault.ts'
import { reasonCodes } from './calls/reason-codes.ts'
import { SCHEMA, type Database } from './pool.ts'
import { bondOf, SEALED_FIELDS, sealedField, type SealedColumn, type SealedName } from './sealed-field.ts'

const BATCH = 200

/**
 * Seals everything anew that another key than the present one has sealed, or that is bound to no row, a few rows at a
 * time, while the service runs; then what older versions kept in the clear. A row that changes meanwhile is left to
 * whoever changed it. What cannot be opened stays as it is: see `brokenSeals`.
 * @returns how many values were sealed anew
 */
export async function resealAll(database: Database, vault: Vault): Promise<number> {
  let total = 0
  for (const name of NAMES) total += await resealField(database, vault, name)
  for (const column of CLEAR) total += await sealClear(database, vault, column)
  return total
}

const NAMES = Object.keys(SEALED_FIELDS) as SealedName[]

interface Row {
  id: string
  sealed: string
  /** What the value is bound to. */
  bound: unknown[]
}

/** The rows of a field for which this holds, a few at a time, in the order of their keys. */
async function* rowsOf({ records }: Database, name: SealedName, where: string): AsyncGenerator<Row> {
  const { table, column, key, boundTo = [key] } = SEALED_FIELDS[name] as SealedColumn
  const select = `select ${key} as id, ${column} as sealed, ${boundTo.map((each, at) => `${each} as bound${at}`).join()}
    from ${SCHEMA}.${table} where ${column} is not null and ${where}`
  let after: unknown[] = []
  for (;;) {
    const { rows } = await records.query(
      `${select} ${after.length > 0 ? `and ${key} > $1` : ''} order by ${key} limit ${BATCH}`,
      after,
    )
    for (const row of rows)
      yield { id: String(row.id), sealed: String(row.sealed), bound: boundTo.map((_, at) => row[`bound${at}`]) }
    if (rows.length < BATCH) return
    after = [rows.at(-1)!.id]
  }
}

async function resealField(database: Database, vault: Vault, name: SealedName): Promise<number> {
  const { table, column, key } = SEALED_FIELDS[name]
  const present = `${vault.sealsWith()}.${BOUND}`
  let count = 0
  const others = rowsOf(database, name, `left(${column}, ${present.length}) <> '${present}'`)
  for await (const { id, sealed, bound } of others) {
    const bond = bondOf(name, bound)
    const plain = opened(vault, sealed, bond)
    if (plain === null) continue
    const { rowCount } = await database.records.query(
      `update ${SCHEMA}.${table} set ${column} = $1 where ${key} = $2 and ${column} = $3`,
      [vault.seal(plain, bond), id, sealed],
    )
    count += rowCount
  }
  return count
}

/** Null for a value that was altered or belongs elsewhere. */
function opened(vault: Vault, sealed: string, bond: string): string | null {
  try {
    return vault.open(sealed, bond)
  } catch (error) {
    if (error instanceof BrokenSeal) return null
    throw error
  }
}

export interface BrokenValue {
  field: SealedName
  /** Key of its row. */
  row: string
}

/** Every sealed value that was altered, or belongs to another row. Reads everything: for a command, not for a page. */
export async function brokenSeals(database: Database, vault: Vault): Promise<BrokenValue[]> {
  const broken: BrokenValue[] = []
  for (const name of NAMES)
    for await (const { id, sealed, bound } of rowsOf(database, name, 'true'))
      if (opened(vault, sealed, bondOf(name, bound)) === null) broken.push({ field: name, row: id })
  return broken
}

/** What older versions kept in the clear, and what becomes of it. */
interface ClearColumn {
  table: string
  /** Rows that have something in the clear. */
  where: string
  /** Of such a row: the columns as they are to be. */
  sealed(vault: Vault, row: Record<string, unknown>): Record<string, unknown>
}

const CLEAR: readonly ClearColumn[] = [
  {
    table: 'happening',
    where: 'facts is not null',
    sealed: (vault, { booking_id, at, what, by, facts }) => ({
      sealed: sealedField(vault, 'event').seal({ by, facts: JSON.parse(String(facts)) }, booking_id, at, what),
      by: null,
      facts: null,
    }),
  },
  {
    table: 'consent',
    where: 'wording is not null',
    sealed: (vault, { patient_id, channel, recorded_at, recorded_by: recordedBy, wording }) => ({
      sealed: sealedField(vault, 'consent').seal({ recordedBy, wording }, patient_id, channel, recorded_at),
      recorded_by: null,
      wording: null,
    }),
  },
  {
    table: 'booking',
    where: 'outcome_by is not null',
    sealed: (vault, { id, outcome_because: because, outcome_by: by }) => ({
      sealed_outcome: sealedField(vault, 'booking-outcome').seal({ because, by }, id),
      outcome_because: null,
      outcome_by: null,
    }),
  },
  {
    table: 'follow_up',
    // What Daysix closes by the hour stays as it is: a fixed sentence.
    where: "sealed_end is null and closed_by <> 'daysix'",
    sealed: (vault, { id, closed_by: closedBy, outcome }) => ({
      sealed_end: sealedField(vault, 'follow-up-end').seal({ closedBy, outcome }, id),
      closed_by: null,
      outcome: null,
    }),
  },
  {
    table: 'follow_up',
    where: `reason in (${Object.keys(FOLLOW_UP_REASONS)
      .map((reason) => `'${reason}'`)
      .join()})`,
    sealed: (vault, { reason }) => ({ reason: reasonCodes(vault).codeOf(reason as FollowUpReason) }),
  },
]

async function sealClear({ records }: Database, vault: Vault, { table, where, sealed }: ClearColumn): Promise<number> {
  let count = 0
  for (;;) {
    const { rows } = await records.query(`select * from ${SCHEMA}.${table} where ${where} order by id limit ${BATCH}`)
    for (const row of rows) {
      const columns = sealed(vault, row)
      const set = Object.keys(columns).map((name, at) => `${name} = $${at + 2}`)
      const { rowCount } = await records.query(
        `update ${SCHEMA}.${table} set ${set.join()} where id = $1 and ${where}`,
        [row.id, ...Object.values(columns)],
      )
      count += rowCount
    }
    if (rows.length < BATCH) return count
  }
}

/** What stands in `key_check.bound` once every value is bound to its row: nobody can write it without the key. */
const allBound = (vault: Vault) => vault.fingerprint('all sealed values are bound to their rows')

/**
 * Once every value is bound to its row, one that is not bound is a foreign one: it no longer opens. Written down when a
 * pass over everything has found nothing more to seal.
 */
export async function noteAllBound({ records }: Database, vault: Vault): Promise<void> {
  await records.query(`update ${SCHEMA}.key_check set bound = $1`, [allBound(vault)])
  vault.refuseUnbound()
}

/** Refuses unbound values from the start where they were all bound earlier. */
async function heedBound({ records }: Pick<Database, 'records'>, vault: Vault): Promise<void> {
  const { rows } = await records.query(`select bound from ${SCHEMA}.key_check`)
  if (rows[0]?.bound === allBound(vault)) vault.refuseUnbound()
}

/** How many values each key has sealed. A key that has sealed none may be taken off the list, but for the oldest. */
export async function countByKey(database: Database): Promise<Record<string, number>> {
  const counts: Record<string, number> = {}
  for (const { table, column } of Object.values(SEALED_FIELDS)) {
    const { rows } = await database.records.query(
      `select split_part(${column}, '.', 1) as id, count(*) as n from ${SCHEMA}.${table} where ${column} is not null group by 1`,
    )
    for (const { id, n } of rows) counts[String(id)] = (counts[String(id)] ?? 0) + Number(n)
  }
  return counts
}

/** Whether anything was ever sealed in this database. */
export async function hasSealedData({ records }: Database): Promise<boolean> {
  const { rows } = await records.query(`select to_regclass('${SCHEMA}.key_check') is not null as known`)
  if (rows[0]!.known !== true) return false
  return (await records.query(`select 1 from ${SCHEMA}.key_check`)).rows.length > 0
}

const printOf = (vault: Vault) => vault.fingerprint('look-up key check')

/**
 * With another key every patient would seem unknown, and no STOP would be found.
 * @param print as it was kept with the data; null = nothing was ever sealed
 * @throws bad-config
 */
export function refuseOtherKey(print: string | null, vault: Vault): void {
  if (print === null || print === printOf(vault)) return
  throw new Failure('bad-config', {
    field: 'DAYSIX_KEY',
    message:
      'These data were kept with another key. Put that key in its place: sealing.key in DATA_DIR, or first in the list of DAYSIX_KEY.',
  })
}

/** Makes sure that the look-up key is the one the data were kept with. @throws bad-config */
export async function checkLookUpKey({ records }: Database, vault: Vault): Promise<void> {
  await records.query(`insert into ${SCHEMA}.key_check (print) values ($1) on conflict do nothing`, [printOf(vault)])
  const { rows } = await records.query(`select print from ${SCHEMA}.key_check`)
  refuseOtherKey(String(rows[0]!.print), vault)
  await heedBound({ records }, vault)
}
