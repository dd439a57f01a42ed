/** What keeps a sound request from the database, or from its disk, and passes without any change to Daysix. */
export type DatabaseTrouble = 'away' | 'full' | 'broke-off'

/** Nothing was begun: Node's words for a way that does not lead there, and PostgreSQL's for "not now" (Appendix A). */
const AWAY = new Set([
  'ECONNREFUSED',
  'ENOTFOUND',
  'EAI_AGAIN',
  'EHOSTUNREACH',
  'ENETUNREACH',
  'ETIMEDOUT',
  '08001',
  '08004',
  // Read-only, as after a failover; too long, or waited too long; too many connections; starting or stopping.
  '25006',
  '57014',
  '55P03',
  '53300',
  '57P03',
])
/** disk_full, and out of memory, which is as little our fault. */
const FULL = new Set(['53100', '53200', 'ENOSPC', 'EDQUOT'])
/**
 * A connection ended under way: what was asked last may have been done. A server ends those that idle too long too
 * (25P03, 57P05), and PgBouncer says 08P01 of all that goes wrong between it and the server.
 */
const BROKE_OFF = new Set([
  ...['ECONNRESET', 'EPIPE', '57P01', '57P02', '25P03', '57P05'],
  ...['08003', '08006', '08007', '08P01'],
])

/** node-postgres gives these no code. */
const NO_CONNECTION = /^timeout exceeded when trying to connect|^Connection terminated due to connection timeout/
const ENDED = /^Connection terminated|^Client has encountered a connection error/

/** What an error says of the database; null where it is about something else. */
export function databaseTrouble(error: unknown): DatabaseTrouble | null {
  if (!(error instanceof Error)) return null
  const code = codeOf(error)
  if (code !== undefined) {
    if (AWAY.has(code)) return 'away'
    if (FULL.has(code)) return 'full'
    return BROKE_OFF.has(code) ? 'broke-off' : null
  }
  if (NO_CONNECTION.test(error.message)) return 'away'
  return ENDED.test(error.message) ? 'broke-off' : null
}

/** The code of a system or database error. It never holds a value. */
export function codeOf(error: unknown): string | undefined {
  const code = typeof error === 'object' && error !== null && 'code' in error ? error.code : undefined
  return typeof code === 'string' ? code : undefined
}
