import { existsSync } from 'node:fs'
import { join } from 'node:path'
import type { Logger } from 'pino'
import type { AccessStore } from '../../flows/ports/access.ts'
import type { HeadNotes } from '../../flows/ports/head-notes.ts'
import type { Metrics } from '../metrics/metrics.ts'
import type { Vault } from '../vault/vault.ts'
import { noteOf, readNote } from './note-line.ts'
import { noteAddress, noteFile, type NotePlace } from './note-places.ts'

export interface HeadNotesDeps {
  access: AccessStore
  clock: { now(): Date }
  vault: Pick<Vault, 'sign'>
  log: Logger
  metrics: Pick<Metrics, 'notice'>
}

/**
 * Notes heads in the log and at the place that the site has set, signed. What this process noted last is not noted
 * again.
 */
export function createHeadNotes(deps: HeadNotesDeps, place: NotePlace | null): HeadNotes {
  const { access, clock, vault, log, metrics } = deps
  let last = ''
  return {
    note: async () => {
      try {
        const note = noteOf(vault.sign, await access.read.audit.head(), clock.now())
        if (note.head === last) return
        log.info(note, 'head of the audit record')
        await place?.put(note)
        last = note.head
      } catch (error) {
        const { name, code } = error as Error & { code?: string }
        log.error({ name, code }, 'the head of the audit record could not be noted')
        metrics.notice('audit-head-not-noted')
      }
    },
    read: async (newest) => ((await place?.lines(newest)) ?? []).map((line) => readNote(vault.sign, line)),
  }
}

/**
 * Where a site notes heads: what it has set, or else a file beside the other data of this machine, where it has any.
 * @returns null = in the log only
 */
export function notePlace(
  { auditNotes, databaseUrl, dataDir }: Record<'auditNotes' | 'databaseUrl', string | undefined> & { dataDir: string },
  { inMemory }: { inMemory?: boolean },
): NotePlace | null {
  if (auditNotes !== undefined) return auditNotes.includes('://') ? noteAddress(auditNotes) : noteFile(auditNotes)
  if (inMemory || (databaseUrl !== undefined && !existsSync(dataDir))) return null
  return noteFile(join(dataDir, 'audit-heads.log'))
}
