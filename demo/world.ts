import { DateTime } from 'luxon'
import { createHandOverTime, type HandOverTime } from '../src/adapters/clock/handover.ts'
import { createPocketGateway, type PocketGateway } from '../src/adapters/gateways/pocket/pocket-gateway.ts'
import { phonePages } from '../src/adapters/http/phones/phones.ts'
import { compose, type Composed } from '../src/compose.ts'
import { loadConfig, type Config } from '../src/config.ts'
import { approveTexts } from '../src/flows/messages/approved-texts.ts'
import { sweep } from '../src/flows/messages/sweep.ts'
import { startService, type Running } from '../src/service.ts'
import { CLINICS, ZONE, chance, patients, type DemoPatient } from './scenario.ts'

export const STORY_DAYS = 28
const SWEEP_MINUTES = 60

/**
 * The service, composed as in production but for time, which is virtual, and the telephone network, which is simulated.
 */
export interface World {
  time: HandOverTime
  pocket: PocketGateway
  composed: Composed
  config: Config
  running: Running
  people: DemoPatient[]
  random: () => number
  /** Midnight of the story's first day, where the clinics are. */
  firstDay: DateTime
  /** Lets virtual time pass, sweeping on the way; `onStep` is told after each step. */
  passUntil(moment: Date, onStep: () => Promise<void>): Promise<void>
}

export async function createWorld(start: Date, headless: boolean): Promise<World> {
  const random = chance(20_260_302)
  const time = createHandOverTime(start)
  const pocket = createPocketGateway({ clock: time.clock, random, after: time.after, receiptDelayMs: 4_000 })
  const config = settings(headless)
  const composed = await compose(config, {
    time: { clock: time.clock, after: time.after },
    queue: time.queue,
    gateways: [pocket],
    inMemory: true,
    random: (bytes) => Uint8Array.from({ length: bytes }, () => Math.floor(random() * 256)),
    notice: () => {},
  })
  await composed.deps.store.transact(async (tx) => {
    for (const clinic of CLINICS) await tx.clinics.put(clinic)
  })
  await approveAll(composed)
  const people = patients(random)
  const names = new Map(people.map(({ number, name }) => [number, name]))
  const pages = phonePages({ pocket, clock: time.clock, zone: ZONE, nameOf: (number) => names.get(number) ?? number })
  const running = await startService(config, composed, 'all', pages)
  const firstDay = DateTime.fromJSDate(start, { zone: ZONE }).startOf('day')
  return { time, pocket, composed, config, running, people, random, firstDay, passUntil: passing(time, composed) }
}

/** The demo's own, by an invented reviewer, so that nothing here is marked as a draft. A site approves for itself. */
async function approveAll({ deps: { store, approvedTexts, clock } }: Composed): Promise<void> {
  const on = DateTime.fromJSDate(clock.now(), { zone: ZONE }).toISODate()!
  const approval = { by: 'Reviewer of the demo (invented)', on, kind: '' }
  for (const language of approvedTexts.reviewables.keys()) {
    await approveTexts(store, approvedTexts.reviewables, { ...approval, language }, clock.now())
  }
  await approvedTexts.refresh()
}

function settings(headless: boolean): Config {
  const config = loadConfig({ ...process.env, NODE_ENV: 'development', LOG_LEVEL: process.env.LOG_LEVEL ?? 'error' })
  // Headless, any free port will do: nobody looks, and several runs may go on at once.
  return {
    ...config,
    openDesk: true,
    port: headless ? 0 : config.port,
    sweepSeconds: 0,
    databaseUrl: undefined,
    redisUrl: undefined,
  }
}

function passing({ virtual }: HandOverTime, { deps }: Composed): World['passUntil'] {
  return async (moment, onStep) => {
    while (virtual.now() < moment) {
      const step = new Date(Math.min(moment.getTime(), virtual.now().getTime() + SWEEP_MINUTES * 60_000))
      await virtual.moveTo(step)
      await sweep(deps)
      await virtual.moveTo(step) // what the sweep set off for this very moment
      await onStep()
    }
  }
}
