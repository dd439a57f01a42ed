import { spawn } from 'node:child_process'
import { createInterface } from 'node:readline'
import { fileURLToPath } from 'node:url'
import { PYTHON } from '../../gateways/peers/mail-peer.ts'
import { present } from '../../gateways/peers/programs.ts'

const SCRIPT = fileURLToPath(new URL('python_sender.py', import.meta.url))

/** Debian's python3-hl7 0.4.5 (BSD). */
export const pythonHl7Present = () => present(PYTHON, ['-c', 'import hl7.client, hl7.mllp'])

interface Asked {
  how: 'one-by-one' | 'asyncio' | 'until-accepted'
  port: number
  messages: readonly string[]
  /** Acknowledgements to wait for after each message. */
  answers?: number
  /** Seconds between messages. */
  pause?: number
  ca?: string
  cert?: string
  key?: string
}

/** What python-hl7 was answered, line by line, as it comes; `ended` with its own words where something went wrong. */
export function pythonSender(asked: Asked): {
  lines: string[][]
  ended: Promise<{ code: number | null; said: string }>
} {
  const child = spawn(PYTHON, [SCRIPT])
  const lines: string[][] = []
  let said = ''
  createInterface(child.stdout).on('line', (line) => lines.push(JSON.parse(line) as string[]))
  child.stderr.on('data', (chunk: Buffer) => (said += chunk.toString()))
  child.stdin.end(JSON.stringify(asked))
  const ended = new Promise<{ code: number | null; said: string }>((done) =>
    child.once('close', (code) => done({ code, said })),
  )
  return { lines, ended }
}

/** The same, once it is over; fails where it did. */
export async function sentByPython(asked: Asked): Promise<string[][]> {
  const { lines, ended } = pythonSender(asked)
  const { code, said } = await ended
  if (code !== 0) throw new Error(`python-hl7 ended with ${code}: ${said}`)
  return lines
}
