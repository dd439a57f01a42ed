// Hurts the running service in every way it is meant to survive, and compares what the network wrote down with what the
// database says:  npm run chaos -- --seed 7 [--kills 20] [--bookings 150] [--stores redis|postgres|embedded] [--policy resend|ask-desk]
import { parseArgs } from 'node:util'
import pg from 'pg'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import { audit, type Ask, type Finding } from './audit.ts'
import { Fleet, type Stores } from './fleet.ts'
import { Ledger } from './ledger.ts'
import { People } from './people.ts'
import { Chance } from './random.ts'
import { Run } from './run.ts'

const { values } = parseArgs({
  options: {
    seed: { type: 'string', default: '1' },
    kills: { type: 'string', default: '12' },
    bookings: { type: 'string', default: '100' },
    stores: { type: 'string', default: 'redis' },
    policy: { type: 'string', default: 'resend' },
  },
})
const seed = Number(values.seed)
const stores = values.stores as Stores
const chance = new Chance(seed)
const ledger = new Ledger()
await ledger.start()
const run = new Run(ledger, chance)
const fleet = await Fleet.start(stores, ledger, values.policy as 'resend' | 'ask-desk', run.offset)
run.fleet = fleet
const people = new People({ fleet, ledger, chance, now: () => run.now() })
ledger.now = () => run.now()
ledger.onAccept = (acceptance) => people.react(acceptance)
const began = Date.now()
let exitCode = 1
try {
  await people.openClinic()
  await run.hurt(people, { kills: Number(values.kills), bookings: Number(values.bookings), stores })
  await run.calmDown(people)
  const findings = await compare()
  report(findings)
  exitCode = findings.some(({ breaches }) => breaches.length > 0) ? 1 : 0
} finally {
  await fleet.clear()
  await ledger.stop()
}
process.exit(exitCode)

async function compare(): Promise<Finding[]> {
  await fleet.stop()
  const { ask, close } = await reader()
  const { booked, stopped, heard } = people
  const acceptances = ledger.acceptances.map((each) => ({ ...each, earliest: run.earliest(each) }))
  const findings = await audit({ ask, acceptances, inDoubt: run.inDoubt, booked, stopped, heard, now: run.now() })
  await close()
  return findings
}

/** Reads the database past the service. */
async function reader(): Promise<{ ask: Ask; close: () => Promise<void> }> {
  if (fleet.databaseUrl) {
    const client = new pg.Client({ connectionString: fleet.databaseUrl, options: '-c search_path=daysix' })
    await client.connect()
    return { ask: async (sql) => (await client.query(sql)).rows as Record<string, unknown>[], close: () => client.end() }
  }
  const database = await openEmbedded(fleet.dataFolder)
  return { ask: async (sql) => (await database.records.query(sql)).rows, close: () => database.close() }
}

function report(findings: readonly Finding[]): void {
  const twice = [...ledger.counts().values()].filter((count) => count > 1).length
  const minutes = ((Date.now() - began) / 60_000).toFixed(1)
  console.log(`\nseed ${seed}, ${stores}, ${values.policy}: ${minutes} min, ${people.booked.size} bookings (${people.refused.length} refused), ${ledger.acceptances.length} acceptances, ${twice} twice`)
  console.log(`faults: ${[...run.faults].map(([fault, count]) => `${count} ${fault}`).join(', ')}\n`)
  for (const { rule, looked, breaches } of findings) {
    console.log(`${breaches.length === 0 ? 'ok    ' : 'BREACH'}  ${rule.padEnd(70)} ${String(looked).padStart(6)} looked at  ${breaches.length} breaches`)
    for (const breach of breaches.slice(0, 5)) console.log(`        ${breach}`)
  }
  if (findings.some(({ breaches }) => breaches.length > 0)) {
    const ids = new Set(findings.flatMap(({ breaches }) => breaches.flatMap((breach) => breach.match(/m_[a-z0-9]+/g) ?? [])))
    for (const { name, process: child } of fleet.members) {
      const telling = child.log.filter((line) => [...ids].some((id) => line.includes(id)))
      console.log(`\n${name}:\n${[...telling, ...child.log.slice(-8)].join('\n')}`)
    }
  }
}

