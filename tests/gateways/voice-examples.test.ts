import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway, takesCallbacks } from '../../src/adapters/gateways/create-gateway.ts'
import { readSipConfig } from '../../src/adapters/gateways/sip/sip-config.ts'

const example = (name: string) => readFileSync(new URL(`../../infra/gateways/${name}.yaml`, import.meta.url), 'utf8')
const deps = {
  clock: { now: () => new Date() },
  random: () => 0.5,
  after: () => {},
  secret: () => 'a-secret',
  callbackUrl: 'https://clinic.example/gateways',
  memory: scratchMemory(),
}
const SIP = {
  kind: 'sip',
  name: 'calls',
  trunk: { host: '192.0.2.10' },
  user: 'clinic',
  localAddress: '192.0.2.20',
  allow: ['+1613'],
}

describe('the examples of gateways that call', () => {
  it('are descriptions that hold', () => {
    const [sip, platform] = ['sip', 'voice-platform'].map((name) => createGateway(example(name), deps))
    expect([sip!.name, sip!.channels, platform!.channels]).toEqual(['calls', ['voice'], ['voice']])
    expect([takesCallbacks(sip!), takesCallbacks(platform!)]).toEqual([false, true])
  })

  it('need their secrets in the environment', () => {
    for (const name of ['sip', 'voice-platform'])
      expect(() => createGateway(example(name), { ...deps, secret: () => undefined })).toThrow('in the environment')
  })
})

describe('the description of a trunk', () => {
  it('is refused with every fault at once, and whatever could change the engine’s settings', () => {
    const faults = { ...SIP, user: 'clinic;auth_pass=x', trunk: { host: 'trunk.example' }, allow: [], lines: 200 }
    for (const field of ['user', 'trunk.host', 'allow', 'lines']) expect(() => readSipConfig(faults)).toThrow(field)
    expect(() => readSipConfig({ ...SIP, lines: 5, rtpPorts: { from: 20_000, to: 20_018 } })).toThrow('four ports')
    const signed = { ...SIP, auth: { user: 'clinic', password: 'env:P' } }
    expect(() => createGateway(signed, { ...deps, secret: () => 'a;b' })).toThrow('semicolon')
  })
})
