// The service as it is, on a clock that the harness moves: what it is told over the channel is added to the machine's
// time.
import { parseArgs } from 'node:util'
import { compose } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { startService, type Role } from '../../src/service.ts'
import { TURN_LOG, type Told } from './service-process.ts'

const { values } = parseArgs({ options: { role: { type: 'string', default: 'all' } } })
let offset = Number(process.env.CHAOS_OFFSET ?? 0)
let turnLog = async () => {}
process.on('message', (message: { offset?: number; turnLog?: true }) => {
  offset = message.offset ?? offset
  if (message.turnLog) void turnLog().catch(() => {})
})
const tell = (told: Told) => void process.send?.(told)

const config = loadConfig()
const clock = { now: () => new Date(Date.now() + offset) }
const after = (ms: number, work: () => Promise<void>) => void setTimeout(() => void work().catch(() => {}), ms).unref()
/** What the harness wants to read when something went wrong: ids and words only. */
const TOLD = new Set(['claim-recovered', 'record-failed', 'jobs-not-enqueued'])
const notice = (what: string, ids: Record<string, string>) =>
  void (TOLD.has(what) && console.error(what, JSON.stringify(ids)))
const composed = await compose(config, { time: { clock, after }, notice })
const { records, kind } = composed.database
// On the embedded store nobody else can look, and nobody else can be sending: what is claimed now was left behind.
const left =
  kind === 'embedded' ? (await records.query(`select id, attempt from message where state = 'sending'`)).rows : []
tell({ worker: composed.deps.worker.id, left: left as unknown as Told['left'] })
turnLog = async () => {
  for (const each of TURN_LOG) await records.query(each)
}
const running = await startService(config, composed, values.role as Role)
const stop = async () => {
  await running.stop()
  await composed.close()
  process.exit(0)
}
process.once('SIGTERM', () => void stop())
// Without its harness it has no business here.
process.once('disconnect', () => process.exit(1))
