import { fork } from 'node:child_process'
import { once } from 'node:events'
import smpp from 'smpp'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createSmppGateway } from '../../src/adapters/gateways/smpp/smpp-gateway.ts'

// Messages a second through the SMPP gateway with a window of 100, against the bare npm session with the same window,
// both to the same message centre on the loopback, in turns. Of many short rounds the best counts, since other work on
// the machine only ever makes a round slower.

const WINDOW = 100
const MESSAGES = 6_000
const ROUNDS = 8
const TEXT = 'a'.repeat(150)
const WANTED = 0.5

/** Prints both rates and their ratio; throws when the gateway is slower than half the bare library. */
export async function bench(): Promise<void> {
  const server = fork(new URL('smpp-server.ts', import.meta.url), { execArgv: ['--import', 'tsx'] })
  const [port] = (await once(server, 'message')) as [number]
  const rates = { bare: 0, gateway: 0 }
  try {
    for (let round = 0; round < ROUNDS; round++) {
      rates.bare = Math.max(rates.bare, await bareRate(port))
      rates.gateway = Math.max(rates.gateway, await gatewayRate(port))
    }
  } finally {
    server.disconnect()
  }
  const ratio = rates.gateway / rates.bare
  const [bare, gateway] = [rates.bare, rates.gateway].map((rate) => rate.toFixed(0))
  console.log(`smpp   bare ${bare}/s   gateway ${gateway}/s   ratio ${ratio.toFixed(2)} (wanted ${WANTED})`)
  if (ratio < WANTED) throw new Error('the SMPP gateway is slower than wanted')
}

async function bareRate(port: number): Promise<number> {
  const session = smpp.connect({ host: '127.0.0.1', port })
  session.on('error', () => {})
  await once(session, 'connect')
  await new Promise((resolve) => session.bind_transceiver({ system_id: 'bench', password: 'bench' }, resolve))
  const fields = {
    destination_addr: '16135550142',
    dest_addr_ton: 1,
    dest_addr_npi: 1,
    registered_delivery: 1,
    data_coding: 0,
  }
  const rate = await timed(
    (n) =>
      new Promise<void>((resolve) => session.submit_sm({ ...fields, short_message: `${n} ${TEXT}` }, () => resolve())),
  )
  session.destroy()
  return rate
}

async function gatewayRate(port: number): Promise<number> {
  const raw = {
    kind: 'smpp',
    name: 'bench',
    host: '127.0.0.1',
    port,
    systemId: 'bench',
    password: 'env:BENCH',
    window: WINDOW,
  }
  const gateway = createSmppGateway(raw, {
    clock: { now: () => new Date() },
    random: Math.random,
    secret: () => 'bench',
    memory: scratchMemory(),
  })
  await gateway.start({ receipt: async () => {}, message: async () => {} })
  const notAfter = new Date(Date.now() + 3_600_000)
  const rate = await timed(async (n) => {
    const message = {
      id: `m${n}`,
      channel: 'sms' as const,
      to: '+16135550142',
      text: `${n} ${TEXT}`,
      language: 'en',
      notAfter,
    }
    const outcome = await gateway.send(message)
    if (outcome.kind !== 'accepted') throw new Error(`not accepted: ${outcome.kind}`)
  })
  await gateway.stop()
  return rate
}

/** Messages a second, with as many under way at once as the window holds. */
async function timed(send: (n: number) => Promise<void>): Promise<number> {
  const before = performance.now()
  let next = 0
  const sender = async () => {
    while (next < MESSAGES) await send(next++)
  }
  await Promise.all(Array.from({ length: WINDOW }, sender))
  return (MESSAGES / (performance.now() - before)) * 1000
}
