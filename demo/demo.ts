import { DateTime } from 'luxon'
import { createQueue } from '../src/compose.ts'
import { systemClock } from '../src/adapters/clock/clocks.ts'
import { requeueAll, sweep } from '../src/flows/messages/sweep.ts'
import { ZONE } from './scenario.ts'
import { Story, type Ending } from './story.ts'
import { Transcript } from './transcript.ts'
import { STORY_DAYS, createWorld, type World } from './world.ts'

const headless = process.argv.includes('--headless')
const write = (line: string) => process.stdout.write(`${line}\n`)

const start = DateTime.now().setZone(ZONE).minus({ days: STORY_DAYS }).startOf('day').plus({ hours: 8 }).toJSDate()
const world = await createWorld(start, headless)
write(
  headless
    ? 'Daysix demo: four weeks in the invented Skerry Isles.'
    : `Daysix demo: the desk is at ${world.running.url}/desk, the simulated phones are at ${world.running.url}/phones`,
)

const names = new Map(world.people.map(({ name, number }) => [number, name]))
const story = new Story(world, new Transcript(write, (number) => names.get(number) ?? number))
await story.tell()
const endings = await story.endings()
report(endings)
if (headless) await stop(endings.every(({ happened }) => happened) ? 0 : 1)
else await liveOn(world)

function report(all: Ending[]): void {
  write(`\nWhat happened (${world.pocket.ledger().length} messages went out, to nobody real)`)
  for (const { name, happened } of all) write(`  ${happened ? 'yes' : 'NO '}  ${name}`)
}

/** The story is told; from here on real time and the real queue go on, and a person can play. */
async function liveOn({ time, composed, config, running }: World): Promise<void> {
  await time.virtual.moveTo(new Date())
  await time.handOver(createQueue(config, composed.database, systemClock, composed.log))
  await requeueAll(composed.deps)
  const timer = setInterval(() => void sweep(composed.deps).catch(() => {}), 15_000)
  write(`\nThe story has been told and real time goes on. Write as a patient at ${running.url}/phones`)
  write(
    `The desk's pages are at ${running.url}/desk; its API at /api/v1, described at /api/v1/openapi.json. Stop with Ctrl+C.`,
  )
  for (const signal of ['SIGINT', 'SIGTERM'] as const) {
    process.once(signal, () => {
      clearInterval(timer)
      void stop(0)
    })
  }
}

async function stop(code: number): Promise<void> {
  await world.running.stop()
  await world.composed.close()
  process.exitCode = code
}
