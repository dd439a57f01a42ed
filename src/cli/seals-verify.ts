import { Command } from 'commander'
import { brokenSeals } from '../adapters/db/reseal.ts'
import { withService } from './with-service.ts'

export function command(): Command {
  return new Command('seals-verify')
    .description(
      'Check that every sealed value can be read and stands in the row that it was sealed for. Exit 2 when one does not.',
    )
    .action(() => withService(check))
}

async function check({ database, vault }: Parameters<Parameters<typeof withService>[0]>[0]): Promise<void> {
  const broken = await brokenSeals(database, vault)
  for (const { field, row } of broken) process.stdout.write(`${field} ${row}: altered, or from another row\n`)
  process.stdout.write(
    broken.length === 0
      ? 'every sealed value can be read\n'
      : `${broken.length} cannot be read: restore these rows from a backup, and find out who wrote to the database\n`,
  )
  if (broken.length > 0) process.exitCode = 2
}
