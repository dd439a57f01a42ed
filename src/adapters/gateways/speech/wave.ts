import { open } from 'node:fs/promises'
import { SAMPLE_RATE } from '../../../domain/messages/voice/tone.ts'

const HEADER_BYTES = 44
const BYTES_A_SAMPLE = 2

/** Writes a WAV file: mono, 16 bit, 8000 Hz. The silence at its end is a hole in the file, which takes no room. */
export async function writeWave(file: string, sounds: readonly Int16Array[], silentSeconds: number): Promise<string> {
  const spoken = sounds.map(({ buffer, byteOffset, byteLength }) => Buffer.from(buffer, byteOffset, byteLength))
  const bytes = spoken.reduce((sum, { length }) => sum + length, 0) + samples(silentSeconds) * BYTES_A_SAMPLE
  const handle = await open(file, 'w', 0o600)
  try {
    await handle.writev([header(bytes), ...spoken])
    await handle.truncate(HEADER_BYTES + bytes)
  } finally {
    await handle.close()
  }
  return file
}

export function silence(seconds: number): Int16Array {
  return new Int16Array(samples(seconds))
}

const samples = (seconds: number) => Math.round(seconds * SAMPLE_RATE)

function header(bytes: number): Buffer {
  const octets = Buffer.alloc(HEADER_BYTES)
  octets.write('RIFF', 0)
  octets.writeUInt32LE(HEADER_BYTES - 8 + bytes, 4)
  octets.write('WAVEfmt ', 8)
  octets.writeUInt32LE(16, 16)
  octets.writeUInt16LE(1, 20) // PCM
  octets.writeUInt16LE(1, 22) // one channel
  octets.writeUInt32LE(SAMPLE_RATE, 24)
  octets.writeUInt32LE(SAMPLE_RATE * BYTES_A_SAMPLE, 28)
  octets.writeUInt16LE(BYTES_A_SAMPLE, 32)
  octets.writeUInt16LE(8 * BYTES_A_SAMPLE, 34)
  octets.write('data', 36)
  octets.writeUInt32LE(bytes, 40)
  return octets
}
