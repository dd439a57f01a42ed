import { setTimeout as pause } from 'node:timers/promises'

/**
 * What a database says, or the way to it, while it is starting, restarting or not there yet. Anything else is a fault
 * to be told.
 */
const NOT_YET = /^(E[A-Z_]+|57P0[123]|53300|08\w{3})$/
/** Two processes making the same schema at the same moment: the second finds it made. */
const RACE = new Set(['23505', '42P06', '42P07', '40P01'])

/** Whether an error says only that the database is away, not that something is wrong. */
export function isAway(error: unknown): boolean {
  const { code, message } = error as { code?: string; message?: string }
  return NOT_YET.test(code ?? '') || RACE.has(code ?? '') || /timeout|terminated unexpectedly/i.test(message ?? '')
}

/**
 * Tries until the database can be reached, so that it does not matter what starts first. @throws whatever is not a
 * matter of time
 */
export async function onceReachable<T>(open: () => Promise<T>, tell: (code: string) => void): Promise<T> {
  for (let wait = 250; ; wait = Math.min(wait * 2, 5_000)) {
    try {
      return await open()
    } catch (error) {
      if (!isAway(error)) throw error
      tell((error as { code?: string }).code ?? 'away')
      await pause(wait)
    }
  }
}
