import { once } from 'node:events'
import net from 'node:net'
import tls from 'node:tls'
import { afterEach, describe, expect, it } from 'vitest'
import { createHttpGateway } from '../../src/adapters/gateways/http/http-gateway.ts'
import type { CallbackGateway } from '../../src/flows/ports/gateway.ts'
import { TEST_CERTIFICATE, TEST_KEY } from './certificate.ts'
import { recordingEars } from './recording-ears.ts'

// A peer of bare sockets: it can break an exchange at any byte, which a well-behaved server library cannot.

const OK = 'HTTP/1.1 202 Accepted\r\ncontent-length: 2\r\n\r\nok'
const open: { close: () => void }[] = []

async function peer(onRequest: (socket: net.Socket, nth: number) => void) {
  let requests = 0
  const sockets = new Set<net.Socket>()
  const server = net.createServer((socket) => {
    sockets.add(socket.on('error', () => {}))
    socket.on('data', () => onRequest(socket, ++requests))
  })
  server.listen(0, '127.0.0.1')
  await once(server, 'listening')
  open.push({ close: () => (server.close(), sockets.forEach((socket) => socket.destroy())) })
  return { port: (server.address() as net.AddressInfo).port, connections: () => sockets.size, requests: () => requests }
}

async function gatewayTo(port: number, rest: object = {}, protocol = 'http'): Promise<CallbackGateway> {
  const request = { method: 'GET', url: `${protocol}://127.0.0.1:${port}/send`, query: { text: '{text}' } }
  const raw = { kind: 'http', name: 'texter', timeoutMs: 10_000, request, ...rest }
  const gateway = createHttpGateway(raw, { clock: { now: () => new Date() }, secret: () => undefined })
  await gateway.start(recordingEars())
  open.push({ close: () => void gateway.stop() })
  return gateway
}

function message(id = 'm1') {
  return {
    id,
    channel: 'sms' as const,
    to: '+16135550142',
    text: 'Hello',
    language: 'en',
    notAfter: new Date(Date.now() + 3_600_000),
  }
}

afterEach(() => open.splice(0).forEach((one) => one.close()))

describe('an exchange over a real connection', () => {
  it('keeps its connections open between messages', async () => {
    const { port, connections } = await peer((socket) => socket.write(OK))
    const gateway = await gatewayTo(port)
    for (const id of ['a', 'b', 'c']) expect(await gateway.send(message(id))).toEqual({ kind: 'accepted' })
    expect(connections()).toBe(1)
  })

  it('opens no more connections than configured', async () => {
    const { port, connections, requests } = await peer((socket) => setTimeout(() => socket.write(OK), 20))
    const gateway = await gatewayTo(port, { maxConnections: 2 })
    const outcomes = await Promise.all([1, 2, 3, 4, 5, 6].map((n) => gateway.send(message(`m${n}`))))
    expect(outcomes.map((outcome) => outcome.kind)).toEqual(Array(6).fill('accepted'))
    expect([connections(), requests()]).toEqual([2, 6])
  })

  it('was certainly not made when nobody listens, so it may be made later', async () => {
    const server = net.createServer().listen(0, '127.0.0.1')
    await once(server, 'listening')
    const { port } = server.address() as net.AddressInfo
    server.close()
    const gateway = await gatewayTo(port)
    expect(await gateway.send(message())).toEqual({ kind: 'later', code: 'econnrefused' })
  })

  it('has an unknown outcome when the connection drops after the request', async () => {
    const { port } = await peer((socket) => socket.destroy())
    expect(await (await gatewayTo(port)).send(message())).toEqual({ kind: 'unknown', code: 'econnreset' })
  })

  it('has an unknown outcome also when the connection was passed on to it by the one before', async () => {
    const { port, connections } = await peer((socket, nth) =>
      nth === 1 ? setTimeout(() => socket.write(OK), 20) : socket.destroy(),
    )
    const gateway = await gatewayTo(port, { maxConnections: 1 })
    const [first, second] = await Promise.all([gateway.send(message('a')), gateway.send(message('b'))])
    expect(connections()).toBe(1)
    expect([first, second]).toEqual([{ kind: 'accepted' }, { kind: 'unknown', code: 'econnreset' }])
  })

  it('has an unknown outcome when no answer comes in time', async () => {
    const { port, requests } = await peer(() => {})
    expect(await (await gatewayTo(port, { timeoutMs: 300 })).send(message())).toEqual({
      kind: 'unknown',
      code: 'timeout',
    })
    expect(requests()).toBe(1)
  })

  it('has an unknown outcome when the answer is cut off', async () => {
    const { port } = await peer((socket) => socket.end('HTTP/1.1 202 Accepted\r\ncontent-length: 100\r\n\r\n0: Acc'))
    expect((await (await gatewayTo(port)).send(message())).kind).toBe('unknown')
  })

  it('has an unknown outcome when the answer is no HTTP', async () => {
    const { port } = await peer((socket) => socket.write('220 mail.example ready\r\n'))
    expect((await (await gatewayTo(port)).send(message())).kind).toBe('unknown')
  })

  it('was not made while it waited for a free connection', async () => {
    const { port, requests } = await peer(() => {})
    const gateway = await gatewayTo(port, { maxConnections: 1, timeoutMs: 4_000 })
    const [first, second] = await Promise.all([gateway.send(message('a')), gateway.send(message('b'))])
    expect(first.kind).toBe('unknown')
    expect(second).toMatchObject({ kind: 'throttled', code: 'no-turn' })
    expect(requests()).toBe(1)
  })

  it('has all the time for its answer from when it has a connection, however long it waited for one', async () => {
    const { port } = await peer((socket) => setTimeout(() => socket.write(OK), 400))
    const gateway = await gatewayTo(port, { maxConnections: 1, timeoutMs: 1_500 })
    const outcomes = await Promise.all([1, 2, 3, 4, 5].map((n) => gateway.send(message(`m${n}`))))
    expect(outcomes.map(({ kind }) => kind)).toEqual(Array(5).fill('accepted'))
  })

  it('is heard that has been answered while this process stood still, also when the time is over', async () => {
    const { port } = await peer((socket) => {
      socket.write(OK)
      for (const until = performance.now() + 700; performance.now() < until;);
    })
    expect(await (await gatewayTo(port, { timeoutMs: 300 })).send(message())).toEqual({ kind: 'accepted' })
  })

  it('was certainly not made while the connection was not secure', async () => {
    const { port, requests } = await peer(() => {}) // takes the greeting, and says nothing
    const gateway = await gatewayTo(port, { timeoutMs: 300 }, 'https')
    expect(await gateway.send(message())).toEqual({ kind: 'later', code: 'connect-timeout' })
    expect(requests()).toBe(1)
  })

  it('is not made to a peer that cannot prove who it is', async () => {
    const { port, requests } = await selfSigned()
    expect(await (await gatewayTo(port, {}, 'https')).send(message())).toEqual({
      kind: 'misconfigured',
      code: 'depth_zero_self_signed_cert',
    })
    expect(requests()).toBe(0)
  })

  it('does not follow the peer elsewhere', async () => {
    const { port, requests } = await peer((socket) =>
      socket.write('HTTP/1.1 302 Found\r\nlocation: /other\r\ncontent-length: 0\r\n\r\n'),
    )
    expect((await (await gatewayTo(port)).send(message())).kind).toBe('misconfigured')
    expect(requests()).toBe(1)
  })

  it('reads no more of an endless answer than it needs', async () => {
    const { port } = await peer((socket) => {
      socket.write('HTTP/1.1 202 Accepted\r\ntransfer-encoding: chunked\r\n\r\n')
      for (let n = 0; n < 100; n++) socket.write(`1000\r\n${'x'.repeat(4096)}\r\n`)
    })
    expect(await (await gatewayTo(port)).send(message())).toEqual({ kind: 'accepted' })
  })

  it('is finished before the gateway stops, and none begins afterwards', async () => {
    const { port } = await peer((socket) => setTimeout(() => socket.write(OK), 50))
    const gateway = await gatewayTo(port)
    const sending = gateway.send(message())
    await gateway.stop()
    expect(await sending).toEqual({ kind: 'accepted' })
    expect(await gateway.send(message())).toEqual({ kind: 'later', code: 'not-started' })
  })
})

async function selfSigned() {
  let requests = 0
  const server = tls.createServer({ key: TEST_KEY, cert: TEST_CERTIFICATE }, (socket) =>
    socket.on('data', () => requests++).on('error', () => {}),
  )
  server.on('tlsClientError', () => {}).listen(0, '127.0.0.1')
  await once(server, 'listening')
  open.push({ close: () => server.close() })
  return { port: (server.address() as net.AddressInfo).port, requests: () => requests }
}
