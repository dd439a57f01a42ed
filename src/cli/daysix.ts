import { Command } from 'commander'
import { Failure } from '../domain/failure.ts'

/**
 * The `daysix` command. A subcommand is loaded only when it is called, so that `daysix forecast` does not pay for
 * the database. Each module exports `command()`, which builds its commander command.
 */
const COMMANDS: Record<string, { summary: string; load: () => Promise<{ command: () => Command }> }> = {
  serve: { summary: 'Run the service.', load: () => import('./serve.ts') },
  migrate: { summary: 'Bring the tables up to date.', load: () => import('./migrate.ts') },
  backup: { summary: 'Write the embedded database into a file.', load: () => import('./backup.ts') },
  restore: { summary: 'Make the embedded database from a backup.', load: () => import('./restore.ts') },
  'move-in': { summary: 'Move from the embedded database into PostgreSQL.', load: () => import('./move-in.ts') },
  forecast: { summary: 'Which dates fall on days to avoid.', load: () => import('./forecast.ts') },
  suggest: { summary: 'Is the booked time good, and which openings are better.', load: () => import('./suggest.ts') },
  plan: { summary: 'What is sent to a patient, and when.', load: () => import('./plan.ts') },
  text: { summary: 'The exact words of a message.', load: () => import('./text.ts') },
  texts: { summary: 'Every text with its cost, reading grade and state.', load: () => import('./texts.ts') },
  'gateway-check': {
    summary: 'Send one test message through a gateway, telling each step.',
    load: () => import('./gateway-check.ts'),
  },
  'feed-check': {
    summary: "What messages of the clinic's own schedule would do.",
    load: () => import('./feed-check.ts'),
  },
  'read-reply': { summary: "What a patient's reply means.", load: () => import('./read-reply.ts') },
  person: { summary: 'People who may sign in.', load: () => import('./person.ts') },
  prints: {
    summary: 'Paper for a day: what a clinic needs to work without the service.',
    load: () => import('./prints.ts'),
  },
  sending: { summary: 'Stop all sending, or let it go on.', load: () => import('./sending.ts') },
  'rotate-key': {
    summary: 'Make a new sealing key and seal all data anew with it.',
    load: () => import('./rotate-key.ts'),
  },
  'seals-verify': {
    summary: 'Check that every sealed value can be read and is in its place.',
    load: () => import('./seals-verify.ts'),
  },
  'audit-verify': {
    summary: 'Check that the record of who saw what is whole.',
    load: () => import('./audit-verify.ts'),
  },
  'api-key': { summary: 'Keys for programs.', load: () => import('./api-key.ts') },
}

const CAUTION =
  'Times and prepares specimens. Not medical advice, not contraception; local codes and licensed practice prevail.'

async function build(asked: string | undefined): Promise<Command> {
  const program = new Command('daysix')
    .description('Times and prepares cervical specimen visits.')
    .addHelpText('after', `\n${CAUTION}`)
  for (const [name, { summary, load }] of Object.entries(COMMANDS)) {
    program.addCommand(name === asked ? (await load()).command() : new Command(name).description(summary))
  }
  return program
}

// `daysix … | head` closes the pipe early: that is no fault of ours, only the end.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error
  process.stdin.destroy()
})

try {
  await (await build(process.argv[2])).parseAsync()
} catch (error) {
  if (error instanceof Failure) sayFailure(error)
  else await sayFault(error)
}

function sayFailure(error: Failure): void {
  const { message, faults = [] } = error.detail
  process.stderr.write([message, ...faults.map((fault) => `  ${fault.field}: ${fault.message}`)].join('\n') + '\n')
  process.exitCode = 2
}

async function sayFault(error: unknown): Promise<void> {
  const { tellFault } = await import('../adapters/faults/tell-fault.ts')
  tellFault(error)
  process.exitCode = 1
}
