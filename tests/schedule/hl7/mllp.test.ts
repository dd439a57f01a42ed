import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { frame, Framer, LARGEST, splitMessages, type Framed } from '../../../src/adapters/schedule/hl7/mllp.ts'
import { bytes, latin1 } from './messages.ts'

// HL7 Transport Specification MLLP: 0x0B message 0x1C 0x0D. Messages, junk and sizes are invented.
const A = 'MSH|^~\\&|SKERRYPAS|||||||A1\rSCH||F1\r'
const B = 'MSH|^~\\&|SKERRYPAS|||||||B2\rSCH||F2\r'
const texts = (found: readonly Framed[]) =>
  found.map((one) => ('frame' in one ? Buffer.from(one.frame).toString('latin1') : one.fault))

function run(chunks: readonly Uint8Array[]): string[] {
  const framer = new Framer()
  return texts([...chunks.flatMap((chunk) => framer.push(chunk)), ...framer.end()])
}
const joined = (...parts: (string | Uint8Array)[]) =>
  Uint8Array.from(Buffer.concat(parts.map((part) => (typeof part === 'string' ? latin1(part) : part))))

describe('the framer', () => {
  it('frames as the specification says', () => {
    expect([...frame(bytes('MSH'))]).toEqual([0x0b, 0x4d, 0x53, 0x48, 0x1c, 0x0d])
  })

  it('finds two frames with junk before and between, however the stream is cut in three', () => {
    const stream = joined('junk\r\n\0', frame(latin1(A)), '\n\0\x06', frame(latin1(B)))
    for (let first = 0; first <= stream.length; first++)
      for (let second = first; second <= stream.length; second += 7)
        expect(run([stream.slice(0, first), stream.slice(first, second), stream.slice(second)])).toEqual([A, B])
  })

  it('finds them byte by byte, and says when it is within one', () => {
    const stream = joined('x', frame(latin1(A)), frame(latin1(B)))
    expect(run([...stream].map((byte) => Uint8Array.of(byte)))).toEqual([A, B])
    const framer = new Framer()
    expect(framer.within).toBe(false)
    framer.push(stream.slice(0, 5))
    expect(framer.within).toBe(true)
  })

  it('takes FS without CR, and does not wait for the CR', () => {
    expect(run([joined('\x0b', A, '\x1c', '\x0b', B, '\x1c')])).toEqual([A, B])
    expect(texts(new Framer().push(joined('\x0b', A, '\x1c')))).toEqual([A])
  })

  it('keeps what it was given when the caller uses its buffer again', () => {
    const framer = new Framer()
    const buffer = joined('\x0b', A)
    framer.push(buffer)
    buffer.fill(0)
    expect(texts(framer.push(joined('\x1c\r')))).toEqual([A])
  })

  it('says of a frame that broke off that it did, by the next one or by the end', () => {
    const broken = 'A frame broke off before its end.'
    expect(run([joined('\x0bMSH|half', frame(latin1(B)))])).toEqual([broken, B])
    expect(run([joined(frame(latin1(A)), '\x0bMSH|half')])).toEqual([A, broken])
    expect(run([joined('\x0b\x0b', A, '\x1c\r')])).toEqual([A])
  })

  it.each([16, 1_000, 65_536, 3_000_000])('refuses a frame above 1 MiB by its size, in chunks of %i', (size) => {
    const large = joined(A, 'x'.repeat(size === 16 ? LARGEST - A.length + 1 : LARGEST))
    const stream = joined(frame(large), frame(latin1(B)))
    const framer = new Framer()
    const found: Framed[] = []
    for (let at = 0; at < stream.length; at += size) found.push(...framer.push(stream.slice(at, at + size)))
    expect(texts(found)).toEqual([`A frame has ${large.length} bytes; at most ${LARGEST} are taken.`, B])
    // By its head the sender can be answered.
    expect(Buffer.from((found[0] as { head: Uint8Array }).head).toString('latin1')).toMatch(/^MSH.*A1\r/)
    expect((found[0] as { head: Uint8Array }).head).toHaveLength(1_024)
  })

  it('takes a frame of exactly 1 MiB', () => {
    expect(run([frame(new Uint8Array(LARGEST).fill(65))])[0]).toHaveLength(LARGEST)
  })

  it('finds whatever is framed, cut anywhere', () => {
    const content = fc
      .uint8Array({ maxLength: 60 })
      .map((all) => all.map((byte) => (byte === 0x0b || byte === 0x1c ? 0x20 : byte)))
    fc.assert(
      fc.property(fc.array(content), fc.array(fc.integer({ min: 1, max: 20 }), { minLength: 1 }), (all, cuts) => {
        const stream = joined(...all.map(frame))
        const chunks: Uint8Array[] = []
        for (let at = 0, n = 0; at < stream.length; at += cuts[n++ % cuts.length]!)
          chunks.push(stream.slice(at, at + cuts[n % cuts.length]!))
        expect(run(chunks)).toEqual(all.map((one) => Buffer.from(one).toString('latin1')))
      }),
    )
  })
})

describe('the messages of a file', () => {
  const files: [string, Uint8Array][] = [
    ['framed', joined(frame(latin1(A)), frame(latin1(B)))],
    ['blocks with blank lines between', joined(A, '\r', B)],
    ['each beginning with MSH', joined(A, B)],
    ['lines that end with LF', joined(`${A}\n${B}`.replaceAll('\r', '\n'))],
    ['lines that end with CRLF, and none at the end', joined(`${A}\r${B}`.trimEnd().replaceAll('\r', '\r\n'))],
    ['a blank line after every segment', joined(`${A}${B}`.replaceAll('\r', '\r\r\n'))],
    ['a mark of UTF-8 before it', joined('\u00ef\u00bb\u00bf', A, B)],
    ['in a batch (ch. 2.10.3)', joined('FHS|^~\\&\rBHS|^~\\&\r', A, B, 'BTS|2\rFTS|1\r')],
  ]
  it.each(files)('%s', (_how, file) => {
    expect(texts(splitMessages(file))).toEqual([A, B])
  })

  it('keeps every byte, whatever the charset', () => {
    expect(texts(splitMessages(latin1('MSH|^~\\&|\u0080\u00e9\u0085\r')))).toEqual(['MSH|^~\\&|\u0080\u00e9\u0085\r'])
  })

  it('does not let what stands before the first message vanish', () => {
    expect(texts(splitMessages(joined('PID|1\r', A)))).toEqual(['PID|1\r', A])
    expect(splitMessages(new Uint8Array())).toEqual([])
  })

  it('refuses one that is too large, and goes on', () => {
    const found = texts(splitMessages(joined('MSH|^~\\&|', 'x'.repeat(LARGEST), '\r', B)))
    expect(found).toEqual([expect.stringMatching(/^A frame has 1048586 bytes/), B])
  })
})
