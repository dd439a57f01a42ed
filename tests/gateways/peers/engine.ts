import { execFileSync } from 'node:child_process'
import { readdirSync, readFileSync, readlinkSync } from 'node:fs'

/** The engine that this process has started. */
export function engineOf(parent: number): number {
  const [pid] = execFileSync('ps', ['--ppid', String(parent), '-o', 'pid=,comm='])
    .toString()
    .split('\n')
    .filter((line) => line.endsWith('baresip'))
  return Number.parseInt(pid!, 10)
}

/** Where a process takes connections, as the kernel has it (proc(5)): `0100007F:1F90`. */
export function listenersOf(pid: number): { address: string; port: number }[] {
  const links = readdirSync(`/proc/${pid}/fd`).map((fd) => {
    try {
      return readlinkSync(`/proc/${pid}/fd/${fd}`)
    } catch {
      return ''
    }
  })
  return ['tcp', 'tcp6']
    .flatMap((table) => readFileSync(`/proc/net/${table}`, 'utf8').split('\n').slice(1))
    .map((row) => row.trim().split(/\s+/))
    .filter(([, , , state, , , , , , inode]) => state === '0A' && links.includes(`socket:[${inode}]`))
    .map(([, local]) => local!.split(':'))
    .map(([address, port]) => ({ address: address!, port: Number.parseInt(port!, 16) }))
}
