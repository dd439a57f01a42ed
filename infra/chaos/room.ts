import { execFile } from 'node:child_process'
import { mkdir, open, rm, statfs } from 'node:fs/promises'
import { join } from 'node:path'
import { promisify } from 'node:util'

const run = promisify(execFile)
const CHUNKS = [1 << 20, 1 << 16, 1 << 12]

/**
 * A disk of its own for the stores, small enough to be filled up: a file system in memory, which only root on Linux can
 * mount.
 */
export class Room {
  readonly #ballast: string
  /** When it was last full, by this machine's clock; never = minus infinity. */
  #fullUntil = -Infinity
  #full = false

  private constructor(readonly folder: string) {
    this.#ballast = join(folder, 'ballast')
  }

  /** @returns null where it cannot be mounted. */
  static async make(folder: string, megabytes: number): Promise<Room | null> {
    await mkdir(folder, { recursive: true, mode: 0o755 })
    if (process.platform !== 'linux' || process.getuid?.() !== 0) return null
    const mounted = run('mount', ['-t', 'tmpfs', '-o', `size=${megabytes}m,mode=755`, 'tmpfs', folder])
    return mounted.then(
      () => new Room(folder),
      () => null,
    )
  }

  /** Whether it is full, or was within the last so many milliseconds. */
  wasFull(withinMs: number): boolean {
    return this.#full || Date.now() - this.#fullUntil < withinMs
  }

  /** Fills it up but for so many bytes. */
  async fill(leave: number): Promise<void> {
    this.#full = true
    const file = await open(this.#ballast, 'a')
    try {
      for (const size of CHUNKS)
        while ((await this.#free()) - leave >= size && (await file.write(Buffer.alloc(size, 1)).catch(() => null)));
    } finally {
      await file.close()
    }
  }

  async empty(): Promise<void> {
    await rm(this.#ballast, { force: true })
    this.#full = false
    this.#fullUntil = Date.now()
  }

  async #free(): Promise<number> {
    const { bavail, bsize } = await statfs(this.folder)
    return bavail * bsize
  }

  async clear(): Promise<void> {
    // Whoever still has a file open keeps it from going away at once.
    await run('umount', ['--lazy', this.folder])
  }
}
