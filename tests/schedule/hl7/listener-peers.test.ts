import { execFile } from 'node:child_process'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest'
import { bookingOf, bookingsOf, framed, listening, RawSender, type Listening } from './own-listener.ts'
import { pythonHl7Present, pythonSender, sentByPython } from './python-sender.ts'

// Peer and referee: python-hl7 (Debian's python3-hl7 0.4.5), its blocking and its asyncio client, and its command.
const run = promisify(execFile)
const MLLP_SEND = '/usr/bin/mllp_send'
let service: Listening | undefined
let folder: string
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'daysix-mllp-'))
  await makeCertificates()
})
afterAll(() => rm(folder, { recursive: true, force: true }))
afterEach(async () => {
  await service?.stop()
  await service?.world.close()
  service = undefined
})
const start = async (...how: Parameters<typeof listening>) => (service = await listening(...how))
const file = (name: string) => join(folder, name)

describe.skipIf(!pythonHl7Present())('python-hl7', () => {
  it('reads each acknowledgement of original mode, and finds its own control id in it', async () => {
    const { port } = await start()
    const messages = [bookingOf(1), bookingOf(2).replace('GYN1', 'GYN9'), bookingOf(3, { head: { 11: 'T' } })]
    const found = await sentByPython({ how: 'one-by-one', port, messages })
    expect(found.map(([code, id]) => [code, id])).toEqual([
      ['AA', 'C1'],
      ['AE', 'C2'],
      ['AR', 'C3'],
    ])
    const [head, msa, error] = found[1]!.slice(2)
    expect(head).toMatch(
      /^MSH\|\^~\\&\|DAYSIX\|SITE\|SKERRYPAS\|SKERRY\|\d{14}\+0000\|\|ACK\^S12\^ACK\|\w{1,20}\|P\|2\.5\.1/,
    )
    expect(msa).toBe('MSA|AE|C2')
    // ERR-3 and ERR-4 are required in 2.5.1; table 0357 has 103 for a value that a table has not.
    expect(error).toMatch(/^ERR\|\|[^|]*\|103\^[^|]*\^HL70357\|E\|/)
    expect(await bookingsOf(service!)).toHaveLength(1)
  })

  it.each([
    // Table 0155: which of the two answers is asked for.
    ['AL', 'NE', ['CA']],
    ['AL', 'AL', ['CA', 'AA']],
    ['NE', 'AL', ['AA']],
    ['ER', 'SU', ['AA']],
  ] as const)(
    'is answered in enhanced mode as it asks: accept %s, application %s',
    async (accept, application, codes) => {
      const { port } = await start()
      const messages = [1, 2].map((n) => bookingOf(n, { head: { 15: accept, 16: application } }))
      const found = await sentByPython({ how: 'asyncio', port, messages, answers: codes.length })
      expect(found).toEqual([1, 2].flatMap((n) => codes.map((code) => [code, `C${n}`])))
      expect(await bookingsOf(service!)).toHaveLength(2)
    },
  )

  it('sends a file by its command', async () => {
    const { port } = await start()
    await writeFile(file('two.hl7'), [bookingOf(1), bookingOf(2)].map(framed).join(''), 'latin1')
    const { stdout } = await run(MLLP_SEND, ['--port', String(port), '--file', file('two.hl7'), '127.0.0.1'])
    expect([...stdout.matchAll(/MSA\|(\w+)\|(\w+)/g)].map(([, code, id]) => [code, id])).toEqual([
      ['AA', 'C1'],
      ['AA', 'C2'],
    ])
    expect(await bookingsOf(service!)).toHaveLength(2)
  })

  it('is let in over TLS with a certificate that is vouched for, and with no other', async () => {
    const tls = { cert: file('server.crt'), key: file('server.key'), clientCa: file('ca.crt') }
    const { port } = await start({ tls })
    const by = (more: object) => ({
      how: 'asyncio' as const,
      port,
      messages: [bookingOf(1)],
      ca: file('server.crt'),
      ...more,
    })
    expect(await sentByPython(by({ cert: file('client.crt'), key: file('client.key') }))).toEqual([['AA', 'C1']])
    for (const wrong of [{}, { cert: file('stranger.crt'), key: file('stranger.key') }]) {
      const refused = pythonSender(by({ ...wrong, messages: [bookingOf(2)] }))
      expect(await refused.ended).toMatchObject({ code: 1 })
      expect(refused.lines).toEqual([])
    }
    const plain = new RawSender(port)
    plain.write(framed(bookingOf(3)))
    await plain.closed
    expect(plain.left).not.toContain('MSA')
    expect(service!.log.join('').match(/refused in the handshake/g)).toHaveLength(3)
    expect(await bookingsOf(service!)).toHaveLength(1)
  })
})

async function makeCertificates(): Promise<void> {
  const ask = ['req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:P-256', '-nodes', '-days', '2']
  const made = (name: string) => ['-subj', `/CN=${name}`, '-keyout', file(`${name}.key`), '-out', file(`${name}.crt`)]
  await run('openssl', [...ask, ...made('server'), '-addext', 'subjectAltName=IP:127.0.0.1'])
  for (const name of ['ca', 'stranger']) await run('openssl', [...ask, ...made(name)])
  const request = [
    'req',
    '-new',
    '-newkey',
    'ec',
    '-pkeyopt',
    'ec_paramgen_curve:P-256',
    '-nodes',
    '-subj',
    '/CN=sender',
  ]
  await run('openssl', [...request, '-keyout', file('client.key'), '-out', file('client.csr')])
  const by = ['-CA', file('ca.crt'), '-CAkey', file('ca.key'), '-CAcreateserial', '-days', '2']
  await run('openssl', ['x509', '-req', '-in', file('client.csr'), ...by, '-out', file('client.crt')])
}
