// Hurts the running service in every way it is meant to survive, and compares what the network wrote down with what the
// database says:  npm run chaos -- --seed 7 [--kills 20] [--bookings 150] [--days 6] [--stores redis|postgres|embedded]
// [--policy resend|ask-desk]. `--days`: how long time goes on, without faults, after the last of them.
import { parseArgs } from 'node:util'
import { audit, finding, type Finding } from './audit.ts'
import { createVault } from '../../src/adapters/vault/vault.ts'
import { readKeyRing } from '../../src/adapters/vault/key-ring.ts'
import { Fleet, KEY, STORES, type Stores } from './fleet.ts'
import { Ledger } from './ledger.ts'
import { People } from './people.ts'
import { Chance } from './random.ts'
import { reportFindings, reportLogs } from './report.ts'
import { countRings, type Rings } from './rings.ts'
import { Run } from './run.ts'

const POLICIES = ['resend', 'ask-desk'] as const
const { values } = parseArgs({
  options: {
    seed: { type: 'string', default: '1' },
    kills: { type: 'string', default: '12' },
    bookings: { type: 'string', default: '100' },
    days: { type: 'string', default: '6' },
    stores: { type: 'string', default: 'redis' },
    policy: { type: 'string', default: 'resend' },
  },
})
const seed = Number(values.seed)
const stores = oneOf(STORES, values.stores)
const policy = oneOf(POLICIES, values.policy)
const chance = new Chance(seed)
const ledger = new Ledger()
await ledger.start()
const run = new Run(ledger, chance)
const fleet = await Fleet.start(stores, ledger, policy, run.time.offset)
run.fleet = fleet
fleet.onClaimsLeft = (left) => run.doubts.claims(left)
const people = new People({ fleet, ledger, chance, now: () => run.now() })
ledger.now = () => run.now()
ledger.onAccept = (acceptance) => people.react(acceptance)
const began = Date.now()
let exitCode = 1
// What was started and mounted must not outlive the run.
for (const signal of ['SIGINT', 'SIGTERM'] as const)
  process.once(signal, () => void fleet.clear().finally(() => process.exit(130)))
try {
  await people.openClinic()
  await run.hurt(people, { kills: Number(values.kills), bookings: Number(values.bookings), stores })
  await run.calmDown(people, Number(values.days))
  const { findings, rings } = await compare()
  reportRun(rings, stores)
  exitCode = reportFindings(findings) ? 0 : 1
  if (exitCode !== 0) reportLogs(findings, fleet.members)
} finally {
  await fleet.clear()
  await ledger.stop()
}
process.exit(exitCode)

function oneOf<T extends string>(known: readonly T[], given: string): T {
  const found = known.find((each) => each === given)
  if (found) return found
  console.error(`"${given}" is not one of ${known.join(', ')}.`)
  process.exit(2)
}

async function compare(): Promise<{ findings: Finding[]; rings: Rings }> {
  await fleet.stop()
  const { ask, close } = await fleet.reader()
  run.doubts.unheard(ledger.unheard)
  const { booked, stopped, heard } = people
  const acceptances = ledger.acceptances.map((each) => ({ ...each, ...run.bounds(each) }))
  const vault = createVault(readKeyRing(KEY))
  const known = { booked, stopped, heard, doubts: run.doubts.counts, now: run.now() }
  const findings = await audit({ ask, vault, acceptances, ...known })
  const rings = await countRings(ask)
  await close()
  return { findings: [...findings, ...ofTheProcesses()], rings }
}

/** What no database knows: how the processes behaved while they were hurt. */
function ofTheProcesses(): Finding[] {
  return [
    finding('what could not be done was refused in a problem document', people.failures, ({ type }) =>
      type.startsWith('application/problem+json'),
    ),
    finding('no process ended by itself but for want of room', fleet.ended, ({ diskWasFull }) => diskWasFull),
  ]
}

function reportRun({ atOnce, byQueue, bySweep }: Rings, stores: Stores): void {
  const twice = [...ledger.counts().values()].filter((count) => count > 1).length
  const minutes = ((Date.now() - began) / 60_000).toFixed(1)
  console.log(
    `\nseed ${seed}, ${stores}, ${policy}: ${minutes} min, ${people.booked.size} bookings (${people.refused.length} refused), ${ledger.acceptances.length} acceptances, ${twice} twice, ${run.doubts.counts.size} in doubt`,
  )
  console.log(`faults: ${[...run.faults].map(([fault, count]) => `${count} ${fault}`).join(', ')}`)
  if (!fleet.room)
    console.log('left out: no disk was filled, since none could be mounted here (that needs root on Linux)')
  if (fleet.ended.length > 0)
    console.log(
      `ended by themselves, and started again: ${fleet.ended.map(({ name, how }) => `${name} (${how})`).join(', ')}`,
    )
  console.log(`jobs: ${byQueue} run by the queue, ${bySweep} by the sweep, ${atOnce} at once\n`)
}
