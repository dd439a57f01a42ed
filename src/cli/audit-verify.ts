import { Command } from 'commander'
import { badInput } from '../domain/failure.ts'
import type { Composed } from '../compose.ts'
import { findingWords, verifyAudit } from '../flows/access/verify-audit.ts'
import { withService } from './with-service.ts'

export function command(): Command {
  return new Command('audit-verify')
    .description('Check that the record of who saw what is whole. Exit 2 when it is not.')
    .option('--noted <number:hash>', 'a head kept elsewhere, besides those in the file of AUDIT_NOTES')
    .action(({ noted }: { noted?: string }) => withService(({ deps }) => check(deps, noted)))
}

async function check({ access, headNotes }: Composed['deps'], noted: string | undefined): Promise<void> {
  const [, seq, hash] =
    noted === undefined ? [] : (/^(\d+):([\w-]+)$/.exec(noted) ?? badInput('noted', 'Give it as NUMBER:HASH.'))
  // Whoever names a head by hand vouches for it.
  const byHand = seq && hash ? [{ seq: Number(seq), hash, isOurs: true }] : []
  const { entries, head, notes, findings } = await verifyAudit(access, {
    notes: [...(await headNotes.read()), ...byHand],
  })
  for (const finding of findings) process.stdout.write(`${findingWords(finding)}\n`)
  const verdict = findings.length === 0 ? 'whole' : 'NOT whole'
  process.stdout.write(`${verdict}: ${entries} entries, ${notes} noted heads, head ${head.seq}:${head.hash}\n`)
  if (findings.length > 0) process.exitCode = 2
}
