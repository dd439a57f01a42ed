import { Command, Option } from 'commander'
import type { Role } from '../service.ts'

export function command(): Command {
  return new Command('serve')
    .description('Run the service: pages and API (web), sending and sweeping (worker), or both (all).')
    .addOption(new Option('--role <role>', 'what this process does').choices(['web', 'worker', 'all']).default('all'))
    .action(async ({ role }: { role: Role }) => {
      const { main } = await import('../main.ts')
      await main(role)
    })
}
