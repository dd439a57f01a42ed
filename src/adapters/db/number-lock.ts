import { prepared } from './prepared-statements.ts'

/**
 * Until the transaction ends nobody else decides about this number (its look-up key is the parameter).
 */
export const LOCK_NUMBER = prepared('select pg_advisory_xact_lock(hashtextextended($1, 0))')

/** The same for the numbers of these messages, in one order for everybody, so that nobody waits in a circle. */
export const LOCK_NUMBERS_OF_MESSAGES = prepared(`select pg_advisory_xact_lock(key) from (
  select distinct hashtextextended(phone_print, 0) as key from message where id = any($1)
  order by key offset 0
) as ordered`)
