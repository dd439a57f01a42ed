// The service as it is, on a clock that the harness moves: what it is told over the channel is added to the machine's time.
import { parseArgs } from 'node:util'
import { compose } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { startService, type Role } from '../../src/service.ts'

const { values } = parseArgs({ options: { role: { type: 'string', default: 'all' } } })
let offset = Number(process.env.CHAOS_OFFSET ?? 0)
process.on('message', (message: { offset: number }) => {
  offset = message.offset
})

const config = loadConfig()
const clock = { now: () => new Date(Date.now() + offset) }
const after = (ms: number, work: () => Promise<void>) => void setTimeout(() => void work().catch(() => {}), ms).unref()
/** What the harness wants to read when something went wrong: ids and words only. */
const TOLD = new Set(['claim-recovered', 'record-failed', 'alarms-not-set'])
const notice = (what: string, ids: Record<string, string>) => void (TOLD.has(what) && console.error(what, JSON.stringify(ids)))
const composed = await compose(config, { time: { clock, after }, notice })
const running = await startService(config, composed, values.role as Role)
process.once('SIGTERM', async () => {
  await running.stop()
  await composed.close()
  process.exit(0)
})
// Without its harness it has no business here.
process.once('disconnect', () => process.exit(1))
