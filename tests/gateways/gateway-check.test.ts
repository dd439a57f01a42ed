import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it, onTestFinished } from 'vitest'
import { checkGateway } from '../../src/adapters/gateways/check-gateway.ts'
import { createPocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import type { NetworkPlan } from '../../src/adapters/gateways/pocket/network-plan.ts'
import { FATES } from './fates.ts'
import { freePort, Program } from './peers/programs.ts'
import { providerConfig, TestProvider } from './peers/test-provider.ts'

async function check(plan: NetworkPlan) {
  const after = (ms: number, work: () => Promise<void>) => void setTimeout(() => void work(), ms)
  const pocket = createPocketGateway({
    clock: { now: () => new Date() },
    random: Math.random,
    after,
    receiptDelayMs: 10,
  })
  pocket.behave(FATES.accept, plan)
  const steps: Record<string, string> = {}
  const options = {
    to: FATES.accept,
    text: 'Visit €',
    waitMs: 150,
    id: 'check-1',
    tell: (step: string, says: string) => void (steps[step] = says),
  }
  return { well: await checkGateway(pocket, options), steps }
}

describe('the check of a gateway', () => {
  it('is passed when the message was delivered, and names every step', async () => {
    const { well, steps } = await check({})
    expect(well).toBe(true)
    expect(Object.keys(steps)).toEqual(['description', 'start', 'message', 'send', 'receipt', 'stop'])
    expect(steps.message).toBe('7 characters, GSM-7, 1 segment')
    expect(steps.receipt).toMatch(/^delivered after/)
  })

  it.each([
    [{ answer: 'misconfigured' }, 'send', /refuses who we are/],
    [{ answer: 'rejected' }, 'send', /refuses this message for good/],
    [{ answer: 'unknown' }, 'send', /may arrive all the same/],
    [{ receipts: 0 }, 'receipt', /none came/],
    [{ fate: 'undelivered' }, 'receipt', /^undelivered .*no-answer/],
  ] satisfies [NetworkPlan, string, RegExp][])(
    'is failed, and says why, when the peer behaves like %j',
    async (plan, step, says) => {
      const { well, steps } = await check(plan)
      expect(well).toBe(false)
      expect(steps[step]).toMatch(says)
    },
  )
})

describe('daysix gateway-check', () => {
  it('sends one message as described in a folder, and takes the receipt that is called back', async () => {
    const provider = new TestProvider()
    const [port, listenPort] = [await provider.listen(), await freePort()]
    provider.hooks = `http://127.0.0.1:${listenPort}/gateways/provider`
    onTestFinished(() => provider.close())
    const folder = mkdtempSync(join(tmpdir(), 'daysix-check-'))
    onTestFinished(() => rmSync(folder, { recursive: true }))
    writeFileSync(join(folder, 'broken.yaml'), 'kind: [')
    writeFileSync(join(folder, 'provider.json'), JSON.stringify(providerConfig(port)))
    const command = (...args: string[]) => {
      const daysix = new URL('../../src/cli/daysix.mjs', import.meta.url).pathname
      return new Program(process.execPath, [daysix, 'gateway-check', ...args, '--gateways', folder], {
        SHARED: 'shared',
      })
    }
    const good = command('provider', '--to', '+1 613 555-0142', '--listen', String(listenPort), '--wait', '10')
    expect(await good.ended()).toBe(0)
    expect(good.lines.find((line) => line.startsWith('receipt'))).toMatch(/delivered/)
    expect(provider.taken.map((order) => order.to)).toEqual([FATES.accept])
    const stranger = command('nobody', '--to', FATES.accept)
    expect(await stranger.ended()).toBe(2)
    expect(stranger.lines[0]).toMatch(/^refused/)
  })
})
