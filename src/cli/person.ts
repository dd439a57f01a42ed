import { Command, Option } from 'commander'
import { ROLES, type Role } from '../domain/access/roles.ts'
import { disable, invite, reinvite } from '../adapters/sign-in/people.ts'
import { OPERATOR } from '../flows/ports/access.ts'
import { withService } from './with-service.ts'

export function command(): Command {
  const person = new Command('person').description(
    'People who may sign in. While the service runs on the embedded database, use POST /api/v1/people instead.',
  )
  person
    .command('add <login>')
    .description('Add a person; prints the one-time code with which to choose a password.')
    .requiredOption('--name <name>', 'full name')
    .addOption(new Option('--role <role>', 'what the person may do').choices([...ROLES]).makeOptionMandatory())
    .option('--clinic <id>', 'required for desk and clinician')
    .option('--list <clinician>', "a clinician's own list")
    .option('--subject <subject>', 'what the identity provider calls the person')
    .action(add)
  person
    .command('code <login>')
    .description('A new one-time code; ends password, code generator and sessions.')
    .action((login: string) =>
      withService(async ({ deps }) => void process.stdout.write(`${await reinvite(deps, login, OPERATOR)}\n`)),
    )
  person
    .command('disable <login>')
    .description('Let somebody sign in no more.')
    .action((login: string) => withService(({ deps }) => disable(deps, login, OPERATOR)))
  person.command('list').description('Everybody who may sign in.').action(list)
  return person
}

interface Added {
  name: string
  role: Role
  clinic?: string
  list?: string
  subject?: string
}

function add(login: string, { name, role, clinic, list: clinician, subject }: Added): Promise<void> {
  return withService(async ({ deps }) => {
    const where = { clinicId: clinic ?? null, clinician: clinician ?? null, subject: subject ?? null }
    const { code } = await invite(deps, { login, name, role, ...where }, OPERATOR)
    process.stdout.write(`${code}\n`)
  })
}

function list(): Promise<void> {
  return withService(async ({ deps }) => {
    for (const { login, role, clinicId, disabledAt } of await deps.access.read.persons.list()) {
      process.stdout.write(
        `${[login, role, clinicId ?? 'all clinics', disabledAt ? 'disabled' : ''].join('\t').trimEnd()}\n`,
      )
    }
  })
}
