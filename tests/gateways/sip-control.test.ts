import net from 'node:net'
import { describe, expect, it, onTestFinished, vi } from 'vitest'
import { Control } from '../../src/adapters/gateways/sip/control.ts'
import { createSipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import { SOON } from '../harness/patience.ts'
import { call } from '../messages/voice/example-calls.ts'
import { engineOf, listenersOf } from './peers/engine.ts'
import { INVITE, note, pause, Phone, RING, sippPresent } from './peers/sipp.ts'
import { recordingEars } from './recording-ears.ts'

// Packets of MQTT 3.1.1, OASIS Standard (2014), written by hand: §3.1 CONNECT, §3.3 PUBLISH, §3.8 SUBSCRIBE.
const text = (words: string) => Buffer.concat([Buffer.from([0, words.length]), Buffer.from(words)])
const packet = (first: number, ...parts: Buffer[]) => {
  const body = Buffer.concat(parts)
  return Buffer.concat([Buffer.from([first, body.length]), body])
}
const connect = (password?: string) => {
  const flags = password === undefined ? 0x02 : 0xc2
  const who = [text('someone'), ...(password === undefined ? [] : [text('engine'), text(password)])]
  return packet(0x10, text('MQTT'), Buffer.from([4, flags, 0, 60]), ...who)
}
const subscribe = packet(0x82, Buffer.from([0, 7]), text('/engine/command/+'), Buffer.from([0]))
const event = packet(0x30, text('/engine/event'), Buffer.from('{"type":"CALL_ESTABLISHED"}'))

/** What a program hears that says this to a port, until it is closed or a while is over. */
async function answered(port: number, ...said: Buffer[]): Promise<Buffer> {
  const socket = net.connect(port, '127.0.0.1').on('error', () => {})
  const heard: Buffer[] = []
  socket.on('data', (octets) => heard.push(octets))
  socket.write(Buffer.concat(said))
  await Promise.race([
    new Promise((resolve) => socket.once('close', resolve)),
    new Promise((resolve) => setTimeout(resolve, 400)),
  ])
  socket.destroy()
  return Buffer.concat(heard)
}

describe('the control of the engine', () => {
  it('hears nobody without the password, and nobody but the first who has it', async () => {
    const control = await Control.open()
    onTestFinished(() => control.close())
    const [events, ready]: [string[], string[]] = [[], []]
    void control.ready(({ type }) => events.push(type)).then(() => ready.push('ready'))
    const { port, password } = control.point
    const REFUSED = Buffer.from([0x20, 2, 0, 4])
    expect(await answered(port, connect(), subscribe, event)).toEqual(REFUSED)
    expect(await answered(port, connect(`${password.slice(1)}0`), subscribe, event)).toEqual(REFUSED)
    expect(await answered(port, event)).toEqual(Buffer.alloc(0))
    expect(await answered(port, Buffer.from('24:{"command":"dial","x":1},'))).toEqual(Buffer.alloc(0))
    expect([events, ready]).toEqual([[], []])
    const engine = net.connect(port, '127.0.0.1')
    onTestFinished(() => void engine.destroy())
    engine.write(Buffer.concat([connect(password), subscribe, event]))
    await vi.waitUntil(() => events.length > 0 && ready.length > 0, SOON)
    expect(events).toEqual(['CALL_ESTABLISHED'])
    expect(await answered(port, connect(password), subscribe, event)).toEqual(Buffer.alloc(0))
    expect(events).toHaveLength(1)
  })
})

describe.skipIf(!sippPresent())('an engine in a call', () => {
  it('takes orders at no port of its own, and connections from this machine only', async () => {
    const phone = await Phone.start([INVITE, RING, note('rings'), pause(60_000)], 34_600, 1)
    const described = {
      ...{ kind: 'sip', name: 'calls', user: 'clinic', localAddress: '127.0.0.1', allow: ['+1613'], lines: 1 },
      ...{ trunk: { host: '127.0.0.1', port: phone.port }, rtpPorts: { from: 34_610, to: 34_613 }, ringSeconds: 10 },
    }
    const gateway = createSipGateway(described, { clock: { now: () => new Date() }, secret: () => undefined })
    await gateway.start(recordingEars())
    const notAfter = new Date(Date.now() + 3_600_000)
    const message = { id: 'm-1', to: '+16135550142', text: 'x', language: 'en', voice: call('prep'), notAfter }
    const sending = gateway.send({ ...message, channel: 'voice' })
    await vi.waitFor(async () => expect(await phone.notes()).toEqual(['rings']), SOON)
    const listeners = listenersOf(engineOf(process.pid))
    expect(listeners.map(({ address }) => address).filter((address) => address !== '0100007F')).toEqual([])
    const order = JSON.stringify({ command: 'quit', token: 'stranger' })
    const said = Buffer.from(`${order.length}:${order},`)
    // Our own port for the engine is closed by now; nobody else answers an order.
    for (const { port } of [...listeners, ...listenersOf(process.pid)])
      expect((await answered(port, said)).toString(), String(port)).not.toContain('response')
    expect(await sending).toEqual({ kind: 'later', code: 'no-answer' })
    await gateway.stop()
    await phone.close()
  }, 60_000)
})
