import { open, type FileHandle } from 'node:fs/promises'
import { connections, exchange } from '../gateways/http/exchange.ts'
import { lineOf, type Note } from './note-line.ts'

/** Where notes go. */
export interface NotePlace {
  /** @throws when it could not be noted */
  put(note: Note): Promise<void>
  /** The lines noted there, oldest first. @param newest about so many of the last */
  lines(newest?: number): Promise<string[]>
}

/** Longer than a line ever is. */
const LINE_BYTES = 160

/** A file that is only ever added to, for the service's own account. */
export function noteFile(path: string): NotePlace {
  return {
    put: async (note) => {
      const file = await open(path, 'a', 0o600)
      try {
        await file.appendFile(lineOf(note))
        await file.sync()
      } finally {
        await file.close()
      }
    },
    lines: async (newest) => {
      const file = await opened(path)
      if (!file) return []
      try {
        const { size } = await file.stat()
        const from = newest === undefined ? 0 : Math.max(0, size - newest * LINE_BYTES)
        const text = Buffer.alloc(size - from)
        await file.read(text, 0, text.length, from)
        const lines = text.toString('latin1').split('\n')
        // What begins within a line is not a line.
        return lines.slice(from === 0 ? 0 : 1).filter((line) => line !== '')
      } finally {
        await file.close()
      }
    },
  }
}

/** Nothing was noted yet where there is no file. */
async function opened(path: string): Promise<FileHandle | null> {
  try {
    return await open(path, 'r')
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'ENOENT') return null
    throw error
  }
}

const PATIENCE_MS = 10_000

/** An address of somebody else's that keeps notes: they go out, and are held against the record there or by hand. */
export function noteAddress(address: string): NotePlace {
  const url = new URL(address)
  const agent = connections(url.protocol, 1)
  const headers = { 'Content-Type': 'application/json' }
  return {
    put: async (note) => {
      const body = Buffer.from(JSON.stringify(note))
      const request = { url, method: 'POST', headers: { ...headers, 'Content-Length': String(body.length) }, body }
      const answer = await exchange(request, agent, PATIENCE_MS)
      if ('fault' in answer) throw Object.assign(new Error('The note was not taken.'), { code: answer.code })
      if (answer.status < 200 || answer.status > 299)
        throw Object.assign(new Error('The note was not taken.'), { code: `status-${answer.status}` })
    },
    lines: async () => [],
  }
}
