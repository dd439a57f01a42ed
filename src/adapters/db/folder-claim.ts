import { createHash } from 'node:crypto'
import { rm } from 'node:fs/promises'
import { connect, createServer } from 'node:net'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { Failure } from '../../domain/failure.ts'

/** Longest path a Unix socket may have, with room to spare. */
const LONGEST_SOCKET_PATH = 100

/**
 * Keeps a second process out of a data folder. A listening socket in the folder is the claim: the kernel ends it with
 * the process, however that dies, so there is no stale process number to misread after a crash or in a container.
 * @returns a function that gives the folder back.
 */
export async function claimFolder(folder: string): Promise<() => Promise<void>> {
  const path = socketPath(folder)
  if (await answers(path)) {
    throw new Failure('data-folder-in-use', {
      field: 'DATA_DIR',
      message: 'Another Daysix process is using this data folder. Stop it, or give this one its own DATA_DIR.',
    })
  }
  await rm(path, { force: true })
  const server = createServer((socket) => socket.destroy())
  await new Promise<void>((done, fail) => server.once('error', fail).listen(path, done))
  server.unref()
  return () => new Promise((done) => server.close(() => done()))
}

function socketPath(folder: string): string {
  const path = join(resolve(folder), 'in-use.sock')
  if (path.length <= LONGEST_SOCKET_PATH) return path
  return join(tmpdir(), `daysix-${createHash('sha256').update(path).digest('hex').slice(0, 24)}.sock`)
}

function answers(path: string): Promise<boolean> {
  return new Promise((done) => {
    const socket = connect(path)
    socket.once('connect', () => (socket.destroy(), done(true)))
    socket.once('error', () => done(false))
  })
}
