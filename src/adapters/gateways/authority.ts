import { readFileSync } from 'node:fs'
import { badInput } from '../../domain/failure.ts'

/** Certificates of a peer's authority. @throws Failure `bad-input` when the file cannot be read. */
export function readAuthority(file: string): string {
  try {
    return readFileSync(file, 'utf8')
  } catch {
    return badInput('tls.caFile', 'This file cannot be read. Check its path and who may read it.')
  }
}
