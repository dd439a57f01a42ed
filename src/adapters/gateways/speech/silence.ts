import { writeFile } from 'node:fs/promises'

const RATE = 8000
const HEADER_BYTES = 44

/** Writes a WAV file of silence, mono, 16 bit, 8000 Hz. @returns the file */
export async function writeSilence(file: string, seconds: number): Promise<string> {
  const octets = Buffer.alloc(HEADER_BYTES + Math.round(seconds * RATE) * 2)
  octets.write('RIFF', 0)
  octets.writeUInt32LE(octets.length - 8, 4)
  octets.write('WAVEfmt ', 8)
  octets.writeUInt32LE(16, 16)
  octets.writeUInt16LE(1, 20) // PCM
  octets.writeUInt16LE(1, 22) // one channel
  octets.writeUInt32LE(RATE, 24)
  octets.writeUInt32LE(RATE * 2, 28)
  octets.writeUInt16LE(2, 32)
  octets.writeUInt16LE(16, 34)
  octets.write('data', 36)
  octets.writeUInt32LE(octets.length - HEADER_BYTES, 40)
  await writeFile(file, octets, { mode: 0o600 })
  return file
}
