// MLLP, HL7 Transport Specification: Minimal Lower Layer Protocol: 0x0B message 0x1C 0x0D.

const VT = 0x0b
const FS = 0x1c
const CR = 0x0d

/** A schedule's message has a few kB. More than this is no message of ours, and must not fill the memory. */
export const LARGEST = 1_048_576
/** Enough of a frame that was too large to say whose it was: its MSH stands first. */
const HEAD = 1_024

/** What was wrong with a frame: `AE` where it is as wrong when it comes again, and its beginning, to answer by. */
interface BadFrame {
  fault: string
  ack: 'AE' | 'AR'
  head: Uint8Array
}

/** A message's bytes; or a frame that holds none. */
export type Framed = { frame: Uint8Array } | BadFrame

/**
 * Finds frames in a stream, however it is cut into chunks. Bytes between frames are passed over (keep-alives, what a
 * load balancer sends to see whether somebody listens). FS ends a frame, with or without the CR that should follow.
 */
export class Framer {
  #parts: Uint8Array[] | null = null
  #size = 0

  /** Whether a frame has begun and not ended: the stream must not fall silent now. */
  get within(): boolean {
    return this.#parts !== null
  }

  /** What the next bytes of the stream complete. */
  push(chunk: Uint8Array): Framed[] {
    const found: Framed[] = []
    for (let at = 0; at < chunk.length;) {
      if (this.#parts === null) at = this.#begin(chunk, at)
      else at = this.#go(chunk, at, found)
    }
    return found
  }

  /** What is left when the stream ends. */
  end(): Framed[] {
    const left = this.#parts === null ? [] : this.#broken()
    this.#parts = null
    return left
  }

  #begin(chunk: Uint8Array, from: number): number {
    const start = chunk.indexOf(VT, from)
    if (start < 0) return chunk.length
    this.#parts = []
    this.#size = 0
    return start + 1
  }

  #go(chunk: Uint8Array, from: number, found: Framed[]): number {
    const stop = chunk.subarray(from).findIndex((byte) => byte === FS || byte === VT)
    const end = stop < 0 ? chunk.length : from + stop
    this.#keep(chunk.slice(from, end))
    if (stop < 0) return end
    if (chunk[end] === VT) {
      // A frame may hold no VT: the sender broke off, and begins again.
      found.push(...this.#broken())
      return this.#begin(chunk, end)
    }
    found.push(this.#whole())
    this.#parts = null
    return end + 1
  }

  /** Of a frame that is too large only the size is counted on. */
  #keep(bytes: Uint8Array): void {
    this.#size += bytes.length
    if (this.#size <= LARGEST) this.#parts!.push(bytes)
    else if (this.#size - bytes.length <= LARGEST) this.#parts = [join([...this.#parts!, bytes]).slice(0, HEAD)]
  }

  #whole(): Framed {
    const frame = join(this.#parts!)
    return this.#size <= LARGEST ? { frame } : tooLarge(this.#size, frame)
  }

  #broken(): Framed[] {
    if (this.#size === 0) return []
    const head = join(this.#parts!).slice(0, HEAD)
    if (this.#size > LARGEST) return [tooLarge(this.#size, head)]
    return [{ fault: 'A frame broke off before its end.', ack: 'AR', head }]
  }
}

const tooLarge = (size: number, head: Uint8Array): BadFrame => ({
  ...{ fault: `A frame has ${size} bytes; at most ${LARGEST} are taken.`, ack: 'AE', head },
})

/** A message as it goes over a connection. */
export function frame(message: Uint8Array): Uint8Array {
  return join([Uint8Array.of(VT), message, Uint8Array.of(FS, CR)])
}

/** UTF-8's mark at the beginning of a file. */
const BOM = '\u00ef\u00bb\u00bf'
/** Heads and ends of files and batches (HL7 ch. 2.10.3) are about the file, not about a visit. */
const AROUND = /^(FHS|BHS|BTS|FTS)(?![A-Z0-9])/

/**
 * The messages of a file: framed, or one after another, each from its MSH on. Blank lines may stand anywhere: some
 * systems end each segment with two. What stands before the first MSH is a message too, which nobody can read: it must
 * not vanish.
 */
export function splitMessages(file: Uint8Array): Framed[] {
  if (file.includes(VT)) {
    const framer = new Framer()
    return [...framer.push(file), ...framer.end()]
  }
  const text = Buffer.from(file).toString('latin1')
  const blocks: string[][] = []
  for (const line of text.slice(text.startsWith(BOM) ? BOM.length : 0).split(/[\r\n]+/)) {
    if (line.trim() === '' || AROUND.test(line)) continue
    if (line.startsWith('MSH') || blocks.length === 0) blocks.push([])
    blocks.at(-1)!.push(line)
  }
  return blocks.map((lines) => sized(Buffer.from(`${lines.join('\r')}\r`, 'latin1')))
}

const sized = (block: Uint8Array): Framed =>
  block.length <= LARGEST ? { frame: Uint8Array.from(block) } : tooLarge(block.length, block.slice(0, HEAD))

function join(parts: readonly Uint8Array[]): Uint8Array {
  return Uint8Array.from(Buffer.concat(parts))
}
