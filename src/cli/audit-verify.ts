import { Command } from 'commander'
import { badInput } from '../domain/failure.ts'
import { verifyAudit } from '../flows/access/audit.ts'
import { withService } from './with-service.ts'

export function command(): Command {
  return new Command('audit-verify')
    .description('Check that the record of who saw what is whole. Exit 2 when it is not.')
    .option('--noted <number:hash>', 'a head that an earlier check or the daily log line told, kept elsewhere')
    .action(({ noted }: { noted?: string }) => withService(({ deps }) => check(deps.access, noted)))
}

async function check(access: Parameters<typeof verifyAudit>[0], noted: string | undefined): Promise<void> {
  const [, seq, hash] =
    noted === undefined ? [] : (/^(\d+):([\w-]+)$/.exec(noted) ?? badInput('noted', 'Give it as NUMBER:HASH.'))
  const { entries, head, findings } = await verifyAudit(
    access,
    seq && hash ? { noted: { seq: Number(seq), hash } } : {},
  )
  for (const { seq: at, fault } of findings) process.stdout.write(`entry ${at}: ${fault}\n`)
  process.stdout.write(
    `${findings.length === 0 ? 'whole' : 'NOT whole'}: ${entries} entries, head ${head.seq}:${head.hash}\n`,
  )
  if (findings.length > 0) process.exitCode = 2
}
