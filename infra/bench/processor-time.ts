import { readFile } from 'node:fs/promises'
import type { Pool } from '../../src/adapters/db/pool.ts'

/** Linux counts the time of other processes in hundredths of a second. */
const TICK_MS = 10

/** Milliseconds of processor time that this process has taken so far, its threads together. */
export function ownTime(): number {
  const { user, system } = process.cpuUsage()
  return (user + system) / 1000
}

/**
 * Milliseconds that the server's processes for this database have taken so far, where they run on this machine; else 0.
 */
export async function serverTime(pool: Pool): Promise<number> {
  const { rows } = await pool.query('select pid from pg_stat_activity where datname = current_database()')
  const times = await Promise.all(rows.map(({ pid }) => timeOf(pid as number)))
  return times.reduce((sum, time) => sum + time, 0)
}

/** Fields 14 and 15 of /proc/PID/stat (proc(5)), counted from behind the name, which may hold spaces. */
async function timeOf(pid: number): Promise<number> {
  const text = await readFile(`/proc/${pid}/stat`, 'utf8').catch(() => null)
  const fields = text?.startsWith(`${pid} (postgres`) ? text.slice(text.lastIndexOf(')') + 2).split(' ') : []
  return TICK_MS * (Number(fields[11] ?? 0) + Number(fields[12] ?? 0))
}
