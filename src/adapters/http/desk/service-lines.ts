import { WORTH_A_LOOK_MS } from '../../../domain/messages/yield-claims.ts'
import type { GatewayHealth } from '../../../flows/ports/gateway.ts'
import type { DataRoom, LastBackup, WorkerHeard } from '../../../flows/ports/deps.ts'
import { age } from './when.ts'

/** What an operator asks first, as found. */
export interface Standing {
  now: Date
  version: string
  since: Date
  /** Send time of the oldest message that should have gone. */
  oldestDue: Date | null
  /** Somebody has stopped sending, of one clinic or of all. */
  stopped: boolean
  /** The texts of some language are approved. */
  sends: boolean
  workers: readonly WorkerHeard[]
  gateways: readonly { name: string; health: GatewayHealth | undefined }[]
  /** How long it took until they answered; null where one did not. */
  database: { ms: number }
  queue: { ms: number } | null
  room: DataRoom
  backup: LastBackup | null
  /** Schedules that are kept elsewhere. */
  feeds: readonly { name: string; heardAt: Date | null; silent: boolean }[]
}

/** `act`: somebody must do what it says. `unknown`: the service cannot tell. */
export interface Line {
  state: 'act' | 'unknown' | 'good'
  name: string
  says: string
  /** What to do. */
  act?: string
}

const MINUTE_MS = 60_000
/** What the queue has lost goes out by the sweep in a minute and a half: until then nobody need do anything. */
const LATE_MS = 2 * MINUTE_MS
/** A worker says every five seconds that it lives; after thirty it counts as gone, and the others take over. */
const QUIET_SECONDS = 20
const SLOW_MS = 1_000
/** Own judgement: a day's work, and a forgotten night. */
const BACKUP_MS = 36 * 60 * MINUTE_MS
const LEAST_FREE = 1024 ** 3
const LEAST_SHARE = 0.1

/** A line for each question, those that somebody must act on first. */
export function linesOf(found: Standing, when: (at: Date) => string): Line[] {
  const lines = [
    overdue(found, when),
    workers(found),
    ...gateways(found, when),
    ...feeds(found, when),
    clocks(found),
    database(found),
    queue(found),
    room(found),
    backup(found, when),
    { state: 'good' as const, name: 'Version', says: `${found.version}, running since ${when(found.since)}` },
  ]
  return ['act', 'unknown', 'good'].flatMap((state) => lines.filter((line) => line.state === state))
}

function overdue({ now, oldestDue, stopped, sends }: Standing, when: (at: Date) => string): Line {
  const name = 'Overdue'
  if (!oldestDue) return { state: 'good', name, says: 'No message is overdue' }
  const says = `Messages are overdue since ${when(oldestDue)} (${age(oldestDue, now)})`
  if (now.getTime() - oldestDue.getTime() < LATE_MS)
    return { state: 'good', name, says: `${says}: they are on their way` }
  if (stopped) return { state: 'act', name, says, act: 'Sending is stopped: see the page Sending.' }
  if (!sends) return { state: 'act', name, says, act: 'No texts are approved: see the page Texts.' }
  return {
    state: 'act',
    name,
    says,
    act: 'See who sends and which gateway is down, below; then the log of the workers.',
  }
}

function workers({ workers: heard }: Standing): Line {
  const name = 'Who sends'
  const [silent] = heard
  if (!silent)
    return {
      state: 'act',
      name,
      says: 'No worker is heard: nothing is sent',
      act: 'Start a worker; its log says why it does not stay.',
    }
  const ago = (seconds: number) => `${Math.round(seconds)} s ago`
  const says = `${heard.length === 1 ? '1 worker' : `${heard.length} workers`}, heard ${heard.map(({ silentSeconds }) => ago(silentSeconds)).join(', ')}`
  if (silent.silentSeconds < QUIET_SECONDS) return { state: 'good', name, says }
  return { state: 'act', name, says, act: 'A worker is silent: see whether its process runs and reaches the database.' }
}

function gateways({ gateways: all }: Standing, when: (at: Date) => string): Line[] {
  if (all.length === 0)
    return [
      {
        state: 'act',
        name: 'Gateways',
        says: 'None is set up: nothing can be sent',
        act: 'Describe one: see GATEWAYS_DIR.',
      },
    ]
  return all.map(({ name: called, health }): Line => {
    const name = `Gateway ${called}`
    if (!health) return { state: 'unknown', name, says: 'Does not say whether messages go through' }
    if (health.ok) return { state: 'good', name, says: 'Messages go through, as far as this process knows' }
    const says = `Nothing goes through since ${when(health.since)}: ${health.code}`
    return { state: 'act', name, says, act: `Try it: npx daysix gateway-check ${called} names the mend.` }
  })
}

function feeds({ feeds: all, now }: Standing, when: (at: Date) => string): Line[] {
  return all.map(({ name: called, heardAt, silent }): Line => {
    const name = `Schedule ${called}`
    const says = heardAt ? `Last heard ${when(heardAt)} (${age(heardAt, now)} ago)` : 'Nothing was ever heard of it'
    if (!silent) return { state: heardAt ? 'good' : 'unknown', name, says }
    return { state: 'act', name, says, act: 'Ask whoever looks after it whether it still sends.' }
  })
}

function clocks({ workers: heard }: Standing): Line {
  const name = 'Clocks'
  const known = heard.flatMap(({ clockOffsetMs }) => (clockOffsetMs === null ? [] : [clockOffsetMs]))
  if (known.length === 0)
    return { state: 'unknown', name, says: "No worker has told how far its clock is from the database's" }
  const furthest = known.reduce((worst, each) => (Math.abs(each) > Math.abs(worst) ? each : worst))
  const off = `${(Math.abs(furthest) / 1000).toFixed(1)} s ${furthest < 0 ? 'behind' : 'ahead of'} the database's`
  if (Math.abs(furthest) <= WORTH_A_LOOK_MS) return { state: 'good', name, says: `At most ${off}` }
  return { state: 'act', name, says: `A worker's clock is ${off}`, act: 'Set the machines by a time server (NTP).' }
}

function database({ database: { ms } }: Standing): Line {
  const says = `Answers in ${Math.round(ms)} ms`
  if (ms < SLOW_MS) return { state: 'good', name: 'Database', says }
  return { state: 'act', name: 'Database', says, act: 'It is slow: look at its load, its disk and the way to it.' }
}

function queue({ queue: answer }: Standing): Line {
  const name = 'Queue'
  if (!answer)
    return {
      state: 'act',
      name,
      says: 'Does not answer: messages go out by the sweep, later',
      act: 'Mend its store; nothing is lost.',
    }
  if (answer.ms < SLOW_MS) return { state: 'good', name, says: `Answers in ${Math.round(answer.ms)} ms` }
  return {
    state: 'act',
    name,
    says: `Answers in ${Math.round(answer.ms)} ms`,
    act: 'It is slow: look at the load of its store.',
  }
}

function room({ room: found }: Standing): Line {
  if (!found) return { state: 'unknown', name: 'Disk', says: 'Data are in memory only, and gone with the process' }
  if (found.kind === 'server')
    return {
      state: 'unknown',
      name: 'Disk',
      says: `The database takes ${size(found.bytes)}; the room on its server is not seen from here`,
    }
  const says = `${size(found.free)} of ${size(found.size)} free where the data are`
  if (found.free >= LEAST_FREE && found.free >= found.size * LEAST_SHARE) return { state: 'good', name: 'Disk', says }
  return { state: 'act', name: 'Disk', says, act: 'Make room: a full disk ends the service.' }
}

function backup({ now, backup: last }: Standing, when: (at: Date) => string): Line {
  const name = 'Last backup'
  if (!last) return { state: 'unknown', name, says: 'None is recorded: make sure that there are backups' }
  const bytes = last.bytes === null ? '' : `, ${size(last.bytes)}`
  const says = `${when(last.at)} (${age(last.at, now)} ago): ${last.outcome}${bytes}`
  if (last.outcome !== 'done')
    return {
      state: 'act',
      name,
      says,
      act: `It failed (${last.detail ?? 'the log says why'}). It is tried again within the hour.`,
    }
  if (now.getTime() - last.at.getTime() > BACKUP_MS)
    return { state: 'act', name, says, act: 'It is old: make one now.' }
  return { state: 'good', name, says }
}

const SIZES = ['B', 'KiB', 'MiB', 'GiB', 'TiB', 'PiB']

function size(bytes: number): string {
  const power = Math.min(SIZES.length - 1, Math.floor(Math.log2(Math.max(1, bytes)) / 10))
  return `${(bytes / 1024 ** power).toLocaleString('en', { maximumFractionDigits: 1 })} ${SIZES[power]}`
}
