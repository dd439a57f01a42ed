import { DateTime } from 'luxon'
import { VirtualClock } from '../src/adapters/clock/clocks.ts'
import { createPocketGateway, type PocketGateway } from '../src/adapters/gateways/pocket/pocket-gateway.ts'
import { createVirtualQueue } from '../src/adapters/queue/virtual-queue.ts'
import { compose, type Composed } from '../src/compose.ts'
import { loadConfig, type Config } from '../src/config.ts'
import { approveTexts } from '../src/flows/messages/approved-texts.ts'
import { sweep } from '../src/flows/messages/sweep.ts'
import { startService, type Running } from '../src/service.ts'
import { Desk } from './desk.ts'
import { Diary, OPENING_CLOCKS } from './diary.ts'
import type { Play } from './play.ts'
import { CLINICS, ZONE, chance, neighbours, storyPatients, type DemoPatient, type StoryPatient } from './scenario.ts'
import { demoPages } from './start-here.ts'

/**
 * The service, composed as in production but for time, which is virtual, and the telephone network, which is simulated.
 */
export interface World {
  clock: VirtualClock
  pocket: PocketGateway
  composed: Composed
  running: Running
  desk: Desk
  diary: Diary
  /** Those of the four weeks' story, and everybody else. */
  people: StoryPatient[]
  neighbours: DemoPatient[]
  nameOf(number: string): string
  /** Numbers for which a person answers: those patients answer by themselves no more. */
  played: Set<string>
  random: () => number
  /**
   * Lets virtual time pass, sweeping on the way; `onStep` is told after each step.
   * @param minutes between two sweeps
   */
  passUntil(moment: Date, onStep: () => Promise<void>, minutes?: number): Promise<void>
}

interface Options {
  start: DateTime
  language: string
  /** Where the pages are; by default as the environment says. */
  port?: number
  /** For a person who plays. */
  play?: Play
}

export async function createWorld({ start, language, port, play }: Options): Promise<World> {
  const random = chance(20_260_302)
  const clock = new VirtualClock(start.toJSDate())
  const after = (ms: number, work: () => Promise<void>) => clock.after(ms, work)
  const pocket = createPocketGateway({ clock, random, after, receiptDelayMs: 4_000 })
  const config = settings(port)
  const composed = await compose(config, {
    time: { clock, after },
    queue: createVirtualQueue(clock),
    gateways: [pocket],
    inMemory: true,
    random: (bytes) => Uint8Array.from({ length: bytes }, () => Math.floor(random() * 256)),
    notice: () => {},
  })
  await composed.deps.store.transact(async (tx) => {
    for (const clinic of CLINICS) await tx.clinics.put(clinic)
  })
  await approveAll(composed)
  const people = storyPatients(random, language)
  const others = neighbours(random, language)
  const known = new Map([...people, ...others].map((each) => [each.number, each]))
  const played = new Set<string>()
  const pages = play && demoPages({ play, pocket, clock, known, played, read: composed.deps.store.read })
  const running = await startService(config, composed, 'all', pages)
  const diary = new Diary()
  return {
    ...{ clock, pocket, composed, running, people, neighbours: others, played, random, diary },
    desk: new Desk(running.url, diary),
    nameOf: (number) => known.get(number)?.name ?? number,
    passUntil: passing(clock, composed),
  }
}

/** Openings at every clinic, on the working days between. */
export async function addOpenings({ desk }: World, from: DateTime, days: number): Promise<void> {
  const working = Array.from({ length: days }, (_, count) => from.plus({ days: count })).filter(
    (day) => day.weekday <= 5,
  )
  const at = working.flatMap((day) => OPENING_CLOCKS.map((clock) => `${day.toISODate()}T${clock}`))
  for (const { id } of CLINICS) await desk.post('/openings', { clinic: id, at })
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

function settings(port: number | undefined): Config {
  const config = loadConfig({ ...process.env, NODE_ENV: 'development', LOG_LEVEL: process.env.LOG_LEVEL ?? 'error' })
  return {
    ...config,
    openDesk: true,
    port: port ?? config.port,
    sweepSeconds: 0,
    databaseUrl: undefined,
    redisUrl: undefined,
  }
}

const USUAL_MINUTES = 120
const NIGHT_MINUTES = 240

function passing(clock: VirtualClock, { deps }: Composed): World['passUntil'] {
  return async (moment, onStep, minutes = USUAL_MINUTES) => {
    while (clock.now() < moment) {
      const now = clock.now().getTime()
      const { hour } = DateTime.fromMillis(now, { zone: ZONE })
      const atNight = hour >= 21 || hour < 5
      const step = new Date(
        Math.min(moment.getTime(), now + (atNight ? Math.max(minutes, NIGHT_MINUTES) : minutes) * 60_000),
      )
      await clock.moveTo(step)
      await sweep(deps)
      await clock.moveTo(step) // what the sweep set off for this very moment
      await onStep()
    }
  }
}
