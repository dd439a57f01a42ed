import { createHash } from 'node:crypto'
import { existsSync } from 'node:fs'
import { z } from 'zod'
import type { Approval } from '../../domain/texts/library.ts'
import { readYaml, type Faults } from './files.ts'

export const approvalsFile = z.array(
  z.strictObject({ by: z.string().min(1), on: z.iso.date(), texts: z.record(z.string(), z.string().regex(/^[0-9a-f]{12}$/)) }),
)
export type ApprovalsFile = z.infer<typeof approvalsFile>

/** Approvals of one language, looked up by what was approved and the digest of its words. */
export type Approvals = (key: string, digest: string) => Approval | undefined

/** Reads `approvals.yaml` of a language; where there is none, nothing is approved. */
export function loadApprovals(file: string, faults: Faults): Approvals {
  const entries = existsSync(file) ? (readYaml(file, approvalsFile, faults) ?? []) : []
  const known = new Map(
    entries.flatMap(({ by, on, texts }) => Object.entries(texts).map(([key, digest]) => [`${key} ${digest}`, { by, on }])),
  )
  return (key, digest) => known.get(`${key} ${digest}`)
}

/** Twelve hex digits that change with the words: an edited text falls back to draft by itself. */
export function digestOf(words: string): string {
  return createHash('sha256').update(words.trim()).digest('hex').slice(0, 12)
}
