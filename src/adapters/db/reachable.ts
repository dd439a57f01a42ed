import { setTimeout as pause } from 'node:timers/promises'

/**
 * What a database says, or the way to it, while it is starting, restarting or not there yet. Anything else is a fault
 * to be told.
 */
const NOT_YET = /^(E(?!RR_|PROTO$)[A-Z_]+|57P0[123]|53300|08\w{3})$/
/** Two processes making the same schema at the same moment: the second finds it made. */
const RACE = new Set(['23505', '42P06', '42P07', '40P01'])

/** Whether an error says only that the database is away, not that something is wrong. */
function isAway(error: unknown): boolean {
  const { code = '', message = '', syscall } = error as { code?: string; message?: string; syscall?: string }
  // A certificate that the address names is not there.
  if (syscall === 'open' || code === '57014') return false
  return NOT_YET.test(code) || isRace(error) || /timeout|terminated unexpectedly/i.test(message)
}

const isRace = (error: unknown) => RACE.has((error as { code?: string }).code ?? '')

/**
 * Tries until the database can be reached, so that it does not matter what starts first.
 * @param atOnce whether it is not waited for
 * @throws whatever is not a matter of time
 */
export async function onceReachable<T>(
  open: () => Promise<T>,
  tell: (error: unknown) => void,
  atOnce = false,
): Promise<T> {
  for (let wait = 250; ; wait = Math.min(wait * 2, 5_000)) {
    try {
      return await open()
    } catch (error) {
      if (!(atOnce ? isRace(error) : isAway(error))) throw error
      tell(error)
      await pause(wait)
    }
  }
}
