import { Command } from 'commander'
import { DateTime } from 'luxon'
import { ALL_PERMISSIONS, isPermission } from '../domain/access/roles.ts'
import { badInput } from '../domain/failure.ts'
import { makeApiKey, revokeApiKey } from '../adapters/sign-in/api-keys.ts'
import { OPERATOR } from '../flows/ports/access.ts'
import { withService } from './with-service.ts'

export function command(): Command {
  const key = new Command('api-key').description(
    'Keys for programs. While the service runs on the embedded database, use POST /api/v1/keys instead.',
  )
  key
    .command('add <name>')
    .description('Make a key; prints it, once.')
    .requiredOption('--may <permissions...>', `any of: ${ALL_PERMISSIONS.join(', ')}`)
    .option('--clinic <id>', 'one clinic only')
    .option('--days <days>', 'how long it works')
    .action(add)
  key
    .command('revoke <id>')
    .description('Revoke a key at once.')
    .action((id: string) => withService(({ deps }) => revokeApiKey(deps, id, OPERATOR)))
  key.command('list').description('All keys, without their secrets.').action(list)
  return key
}

function add(name: string, { may, clinic, days }: { may: string[]; clinic?: string; days?: string }): Promise<void> {
  return withService(async ({ deps }) => {
    const wrong = may.find((each) => !isPermission(each))
    if (wrong !== undefined)
      badInput('may', `There is no permission of this name. Known: ${ALL_PERMISSIONS.join(', ')}.`)
    const expiresAt = days === undefined ? null : DateTime.fromJSDate(deps.clock.now()).plus({ days: Number(days) })
    if (expiresAt && !expiresAt.isValid) badInput('days', 'Give a number of days.')
    const wish = { name, may: may.filter(isPermission), clinicId: clinic ?? null }
    const { secret } = await makeApiKey(deps, { ...wish, expiresAt: expiresAt?.toJSDate() ?? null }, OPERATOR)
    process.stdout.write(`${secret}\n`)
  })
}

function list(): Promise<void> {
  return withService(async ({ deps }) => {
    for (const { id, name, may, clinicId, revokedAt } of await deps.access.read.apiKeys.list()) {
      process.stdout.write(
        `${[id, name, may.join(' '), clinicId ?? 'all clinics', revokedAt ? 'revoked' : ''].join('\t').trimEnd()}\n`,
      )
    }
  })
}
