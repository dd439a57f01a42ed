import { Command, InvalidArgumentError, Option } from 'commander'
import { LANGUAGES, STORY_DAYS, morningOf } from './scenario.ts'
import { Morning } from './morning.ts'
import { Play } from './play.ts'
import { Story, type Ending } from './story.ts'
import { HISTORY_DAYS, Traffic } from './traffic.ts'
import { Transcript } from './transcript.ts'
import { createWorld, type World } from './world.ts'

interface Options {
  headless?: true
  port?: number
  lang: string
}

const write = (line: string) => process.stdout.write(`${line}\n`)

await new Command('demo')
  .description('Daysix in the invented Skerry Isles: pages to try, and simulated phones. Nobody real is reached.')
  .option('--headless', 'no pages: four weeks as a transcript; exits 0 only if all of it happened')
  .option('--port <number>', 'where the pages are, instead of PORT', portOf)
  .addOption(new Option('--lang <code>', 'what most patients read and write').choices(LANGUAGES).default('en'))
  .action((options: Options) => (options.headless ? tell(options) : play(options)))
  .parseAsync()

function portOf(text: string): number {
  const port = Number(text)
  if (/^\d+$/.test(text) && port <= 65_535) return port
  throw new InvalidArgumentError('Give a number from 0 to 65535; 0 takes a port that is free.')
}

async function tell({ lang }: Options): Promise<void> {
  write('Daysix demo: four weeks in the invented Skerry Isles.')
  const end = morningOf(new Date())
  const start = end.minus({ days: STORY_DAYS }).startOf('day')
  // Any free port will do: nobody looks, and several runs may go on at once.
  const world = await createWorld({ start, language: lang, port: 0 })
  const story = new Story(world, start, new Transcript(write, world.nameOf))
  await story.plan()
  await world.passUntil(end.toJSDate(), () => story.listen())
  const endings = await story.endings()
  report(world, endings)
  await stop(world, endings.every(({ happened }) => happened) ? 0 : 1)
}

/** The pages come first: what happened before fills in while somebody reads. */
async function play({ port, lang }: Options): Promise<void> {
  const morning = morningOf(new Date())
  const start = morning.minus({ days: HISTORY_DAYS }).startOf('day')
  const game = new Play(start.toJSDate(), morning.toJSDate())
  const world = await createWorld({ start, language: lang, play: game, ...(port !== undefined && { port }) })
  const { url } = world.running
  write(`Daysix demo: start at ${url}/`)
  write(`The desk is at ${url}/desk, the simulated phones at ${url}/phones. Stop with Ctrl+C.`)
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => game.end())
  const story = new Story(world, morning.minus({ days: STORY_DAYS }).startOf('day'), new Transcript(() => {}, String))
  const traffic = new Traffic(world, morning)
  const today = new Morning(world, morning)
  await traffic.plan()
  await story.plan()
  today.plan()
  await game.run(world, async () => {
    await story.listen()
    await traffic.listen()
  })
  await stop(world, 0)
}

function report(world: World, all: readonly Ending[]): void {
  write(`\nWhat happened (${world.pocket.ledger().length} messages went out, to nobody real)`)
  for (const { name, happened } of all) write(`  ${happened ? 'yes' : 'NO '}  ${name}`)
}

async function stop(world: World, code: number): Promise<void> {
  await world.running.stop()
  await world.composed.close()
  process.exitCode = code
}
