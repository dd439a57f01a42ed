import { execFile } from 'node:child_process'
import { constants, readSync } from 'node:fs'
import { open, writeFile, type FileHandle } from 'node:fs/promises'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { FRAME_MS, FRAME_SAMPLES } from '../../../domain/messages/voice/hearing.ts'

const FRAME_BYTES = FRAME_SAMPLES * 2
const NOTHING = Buffer.alloc(FRAME_BYTES)
/** More than a pipe holds (64 kB, pipe(7)). */
const AT_ONCE = Buffer.alloc(FRAME_BYTES * 512)
/** How often it is emptied: while somebody listens, when nobody does, and for an engine that wants to end. */
const TICK_MS = { attentive: 200, deaf: 1_000, closing: 20 }
/** Sound on its way: what is missing longer was never sent. */
const ON_ITS_WAY = 300 / FRAME_MS

type Attention = keyof typeof TICK_MS

/**
 * Hears what the other side says, as the engine has decoded it. The engine plays it on a pretended sound card of ALSA
 * that writes into a pipe in the call's own folder, so that no sound is ever in a file.
 *
 * The card has no clock: it takes all there is, then frames of nothing until the pipe is full. So each time the pipe is
 * emptied, it holds what came since the last time, and nothing else that counts.
 */
export class Ear {
  readonly #pipe: FileHandle
  #attention: Attention = 'deaf'
  #timer: NodeJS.Timeout | undefined
  #tell: (frames: Int16Array[]) => void = () => {}
  #began = 0
  #heard = 0

  private constructor(pipe: FileHandle) {
    this.#pipe = pipe
    this.#wait()
  }

  /** @throws when there can be no pipe. */
  static async open(folder: string): Promise<Ear> {
    const path = join(folder, 'ear')
    await promisify(execFile)('mkfifo', ['-m', '600', path])
    const card = `pcm.ear { type file format raw file "${path}" slave.pcm { type null } }\n`
    await writeFile(Ear.settings(folder), card, { mode: 0o600 })
    // Open for writing too, or it would end whenever the engine lets go of it.
    return new Ear(await open(path, constants.O_RDWR | constants.O_NONBLOCK))
  }

  /** What ALSA reads instead of the machine's own settings. */
  static settings(folder: string): string {
    return join(folder, 'asound.conf')
  }

  /** From now on, tells what is heard: as many frames as time has passed. */
  listen(tell: (frames: Int16Array[]) => void): void {
    this.#take()
    this.#tell = tell
    this.#began = performance.now()
    this.#be('attentive')
  }

  /** Nothing that is said matters any more. */
  deafen(): void {
    if (this.#attention === 'attentive') this.#be('deaf')
  }

  /** Whoever waits to play something can end. */
  letGo(): void {
    this.#be('closing')
  }

  async close(): Promise<void> {
    clearTimeout(this.#timer)
    await this.#pipe.close()
  }

  #be(attention: Attention): void {
    this.#attention = attention
    clearTimeout(this.#timer)
    this.#wait()
  }

  #wait(): void {
    this.#timer = setTimeout(() => this.#tick(), TICK_MS[this.#attention])
  }

  #tick(): void {
    const frames = this.#take()
    if (this.#attention === 'attentive') this.#tell(this.#inTime(frames))
    this.#wait()
  }

  /** Where the other side sends nothing, it is quiet. */
  #inTime(frames: Int16Array[]): Int16Array[] {
    const due = Math.floor((performance.now() - this.#began) / FRAME_MS)
    const missing = Math.max(0, due - ON_ITS_WAY - this.#heard - frames.length)
    const all = [...frames, ...Array.from({ length: missing }, () => new Int16Array(FRAME_SAMPLES))]
    this.#heard += all.length
    return all
  }

  /** Empties the pipe. What is written at once is read as a whole (pipe(7), PIPE_BUF), so frames are never cut. */
  #take(): Int16Array[] {
    const octets = AT_ONCE.subarray(0, this.#read())
    const frames: Int16Array[] = []
    for (let at = 0; at + FRAME_BYTES <= octets.length; at += FRAME_BYTES) {
      const frame = octets.subarray(at, at + FRAME_BYTES)
      if (!frame.equals(NOTHING)) frames.push(new Int16Array(Uint8Array.from(frame).buffer))
    }
    return frames
  }

  #read(): number {
    try {
      return readSync(this.#pipe.fd, AT_ONCE)
    } catch {
      return 0 // nothing there (EAGAIN)
    }
  }
}
