import type { NotedHead } from '../../flows/ports/head-notes.ts'
import { sameSecret } from '../vault/same-secret.ts'

/** Signs what a note says; see `Vault.sign`. */
export type Sign = (plain: string) => string

/** One note: when, which entry was the newest with which hash, and our signature over both. */
export interface Note {
  at: string
  head: string
  signature: string
}

export function noteOf(sign: Sign, { seq, hash }: { seq: number; hash: string }, now: Date): Note {
  const [at, head] = [now.toISOString(), `${seq}:${hash}`]
  return { at, head, signature: sign(`${at} ${head}`) }
}

/** As it stands in a file. */
export const lineOf = ({ at, head, signature }: Note) => `${at} ${head} ${signature}\n`

/** What a line notes; one that is none of ours, or was cut short, notes nothing that can be relied on. */
export function readNote(sign: Sign, line: string): NotedHead {
  const [, at, seq, hash, signature] = /^(\S+) (\d+):(\S*) (\S+)$/.exec(line) ?? []
  const isOurs = signature !== undefined && sameSecret(signature, sign(`${at} ${seq}:${hash}`))
  return { seq: Number(seq ?? 0), hash: hash ?? '', isOurs }
}
