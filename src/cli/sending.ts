import { Command, Option } from 'commander'
import { REGION, resumeSending, stopSending, type Backlog, type Hand } from '../flows/messages/stop-sending.ts'
import { withService } from './with-service.ts'

const OPERATOR: Hand = { kind: 'operator', id: 'command', by: 'operator' }

interface Where {
  clinic?: string
}

export function command(): Command {
  const sending = new Command('sending').description(
    'Stop all sending, or let it go on. While the service runs on the embedded database, use the page "Sending" or POST /api/v1/sending/stop instead.',
  )
  sending
    .command('stop')
    .description('Nothing leaves any more. What is at the gateways already cannot be called back.')
    .requiredOption('--why <words>', 'shown on every page; no names of patients')
    .option('--clinic <id>', 'one clinic only')
    .action(({ clinic = REGION, why }: Where & { why: string }) =>
      withService(async ({ deps }) => {
        await stopSending(deps, clinic, why, OPERATOR)
        process.stdout.write('All sending is stopped.\n')
      }),
    )
  sending
    .command('resume')
    .description('Sending goes on.')
    .addOption(
      new Option(
        '--backlog <what>',
        'what was due meanwhile: send late what is still worth it, or put it on the call list',
      )
        .choices(['send', 'call'])
        .makeOptionMandatory(),
    )
    .option('--clinic <id>', 'one clinic only')
    .action(({ clinic = REGION, backlog }: Where & { backlog: Backlog }) =>
      withService(async ({ deps }) => {
        const dropped = await resumeSending(deps, clinic, backlog, OPERATOR)
        await deps.queue.stop()
        process.stdout.write(
          `Sending goes on.${backlog === 'call' ? ` ${dropped} messages are not sent: look at the call list.` : ''}\n`,
        )
      }),
    )
  sending.command('show').description('Where sending is stopped.').action(show)
  return sending
}

function show(): Promise<void> {
  return withService(async ({ deps }) => {
    const stops = await deps.access.read.sendingStops.list()
    if (stops.length === 0) process.stdout.write('Messages go out everywhere.\n')
    for (const { scope, at, by, why } of stops)
      process.stdout.write(`${[scope, at.toISOString(), by, why].join('\t')}\n`)
  })
}
