import { once } from 'node:events'
import net, { type AddressInfo, type Socket } from 'node:net'
import tls from 'node:tls'
import { describe, expect, it, onTestFinished, vi } from 'vitest'
import { openWire, type WireOptions } from '../../src/adapters/gateways/sip/wire.ts'
import { SOON } from '../harness/patience.ts'
import { TEST_CERTIFICATE, TEST_KEY } from './certificate.ts'

const BYE = 'BYE sip:a@b.example SIP/2.0\r\nContent-Length: 0\r\n\r\n'

/** A trunk that writes down what each connection brings. */
async function trunk(server: net.Server) {
  const [sockets, heard]: [Socket[], string[]] = [[], []]
  server.on(server instanceof tls.Server ? 'secureConnection' : 'connection', (socket: Socket) => {
    const at = sockets.push(socket) - 1
    heard[at] = ''
    socket.on('error', () => {}).on('data', (octets) => (heard[at] += String(octets)))
  })
  server.listen(0, '127.0.0.1')
  await once(server, 'listening')
  onTestFinished(() => {
    server.close()
    for (const socket of sockets) socket.destroy()
  })
  return { port: (server.address() as AddressInfo).port, sockets, heard }
}

function open(port: number, changes: Partial<WireOptions>) {
  const options = { localAddress: '127.0.0.1', trunk: { host: '127.0.0.1', port }, transport: 'tls' as const }
  return openWire({ ...options, ...changes })
}

describe('the connection to a trunk', () => {
  it.each([
    ['tcp', () => net.createServer()],
    ['tls', () => tls.createServer({ key: TEST_KEY, cert: TEST_CERTIFICATE })],
  ] as const)('by %s that is lost is told, and made anew to say good-bye', async (transport, server) => {
    const { port, sockets, heard } = await trunk(server())
    const wire = await open(port, { transport, ...(transport === 'tls' && { authority: TEST_CERTIFICATE }) })
    onTestFinished(() => wire.close())
    const lost: string[] = []
    wire.listen(
      () => {},
      () => lost.push('lost'),
    )
    await vi.waitUntil(() => sockets.length === 1, SOON)
    sockets[0]!.destroy()
    await vi.waitUntil(() => lost.length === 1, SOON)
    wire.send(Buffer.from(BYE), { address: '127.0.0.1', port })
    await vi.waitUntil(() => heard[1] === BYE, SOON)
    expect(sockets).toHaveLength(2)
  })

  // What no certificate says anything about is TLS 1.1, which RFC 8996 ended.
  it('is not made by a TLS that is out of date', async () => {
    const old = { minVersion: 'TLSv1.1', maxVersion: 'TLSv1.1', ciphers: 'DEFAULT@SECLEVEL=0' } as const
    const { port, heard } = await trunk(tls.createServer({ key: TEST_KEY, cert: TEST_CERTIFICATE, ...old }))
    const opening = open(port, { authority: TEST_CERTIFICATE })
    await expect(opening).rejects.toMatchObject({ outcome: { kind: 'misconfigured', code: 'tls-refused' } })
    expect(heard).toEqual([])
  })

  it('is never made to an address that no trunk has', async () => {
    for (const transport of ['udp', 'tcp', 'tls'] as const) {
      const opening = open(5061, { transport, trunk: { host: '169.254.169.254', port: 5061 } })
      await expect(opening).rejects.toMatchObject({ outcome: { kind: 'misconfigured', code: 'egress_refused' } })
    }
  })

  it('holds the certificate against what is described, whatever the environment says', async () => {
    const { port } = await trunk(tls.createServer({ key: TEST_KEY, cert: TEST_CERTIFICATE }))
    const usual = process.env.NODE_TLS_REJECT_UNAUTHORIZED
    process.env.NODE_TLS_REJECT_UNAUTHORIZED = '0'
    onTestFinished(() => {
      if (usual === undefined) delete process.env.NODE_TLS_REJECT_UNAUTHORIZED
      else process.env.NODE_TLS_REJECT_UNAUTHORIZED = usual
    })
    await expect(open(port, {})).rejects.toMatchObject({ outcome: { code: 'tls-untrusted' } })
  })
})
