import { readFile } from 'node:fs/promises'
import { connect, type Socket } from 'node:net'
import { connect as connectTls } from 'node:tls'
import type { TellBy } from '../../../domain/schedule/telling.ts'
import { guardedLookup, isRefusedLiteral } from '../../gateways/egress-guard.ts'
import { Framer, frame } from '../hl7/mllp.ts'
import { parse, segmentOf, text } from '../hl7/parse.ts'

type Peer = Extract<TellBy, { by: 'mllp' }>

const PATIENCE_MS = 30_000
/** HL7 table 0008: accepted, in either mode. */
const ACCEPTED: ReadonlySet<string> = new Set(['AA', 'CA'])

/**
 * Sends one message and waits for its acknowledgement.
 * @throws Error where there is none in time, or it says anything else than that it was accepted
 */
export async function sendMllp(message: Uint8Array, id: string, peer: Peer): Promise<void> {
  if (isRefusedLiteral(peer.host)) throw new Error('This address is never a schedule’s.')
  const socket = await open(peer)
  try {
    const answer = await ask(socket, message)
    const parsed = parse(answer, 'utf-8')
    const msa = 'message' in parsed ? segmentOf(parsed.message, 'MSA') : undefined
    const [code, of] = [text(msa, 1), text(msa, 2)]
    if (of !== id) throw new Error('The acknowledgement is of another message.')
    if (!ACCEPTED.has(code)) throw new Error(`Not accepted: ${code}`)
  } finally {
    socket.destroy()
  }
}

async function open({ host, port, tls, ca, cert, key }: Peer): Promise<Socket> {
  const at = { host, port, lookup: guardedLookup() }
  const read = async (name: 'ca' | 'cert' | 'key', file: string | null) =>
    file === null ? {} : { [name]: await readFile(file) }
  const own = tls ? { ...(await read('ca', ca)), ...(await read('cert', cert)), ...(await read('key', key)) } : {}
  return new Promise((done, fail) => {
    const socket = tls ? connectTls({ ...at, ...own, servername: host }) : connect(at)
    socket.setTimeout(PATIENCE_MS, () => socket.destroy(new Error('No answer in time.')))
    socket.once('error', fail)
    socket.once(tls ? 'secureConnect' : 'connect', () => done(socket))
  })
}

function ask(socket: Socket, message: Uint8Array): Promise<Uint8Array> {
  return new Promise((done, fail) => {
    const framer = new Framer()
    socket.on('error', fail)
    socket.once('close', () => fail(new Error('Closed before an acknowledgement came.')))
    socket.on('data', (chunk: Buffer) => {
      const [first] = framer.push(chunk)
      if (first === undefined) return
      if ('frame' in first) done(first.frame)
      else fail(new Error(first.fault))
    })
    socket.write(frame(message))
  })
}
