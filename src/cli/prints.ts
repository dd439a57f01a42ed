import { Command } from 'commander'
import { subjectsOf } from '../adapters/http/access/shown-subjects.ts'
import { printOf, shownOn } from '../adapters/http/prints/print-data.ts'
import { printedFile } from '../adapters/http/prints/print-file.ts'
import { orNotFound } from '../flows/lookups.ts'
import { withService } from './with-service.ts'

export function command(): Command {
  return new Command('prints')
    .description(
      'Write the paper for a day of one clinic, as a file to open in a browser and print. On the embedded database, stop the service first. It holds data about patients.',
    )
    .requiredOption('--clinic <id>', 'which clinic')
    .action(({ clinic: id }: { clinic: string }) =>
      withService(async ({ deps }) => {
        const clinic = orNotFound(await deps.store.read.clinics.get(id), 'clinic')
        const print = await printOf(deps, clinic, 'operator')
        const entry = { at: print.now, actorKind: 'operator', actorId: 'command', what: 'prints', facts: {} }
        const subjects = await subjectsOf(deps.access, [], shownOn(print))
        await deps.access.transact((tx) => tx.audit.append([{ ...entry, subjects, clinicId: id }]))
        process.stdout.write(printedFile(print))
      }),
    )
}
