import { describe, expect, it } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway } from '../../src/adapters/gateways/create-gateway.ts'
import type { Message } from '../../src/domain/messages/message.ts'
import { takeTurns } from '../../src/flows/messages/take-turns.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'
import type { Turn } from '../../src/flows/ports/gateway.ts'
import { providerConfig } from '../gateways/peers/test-provider.ts'

const PLANNED = { id: 'm_planned', revision: 1, gateway: 'narrow', channel: 'sms' } as Message
const ANSWER = { ...PLANNED, id: 'm_answer', revision: null } as Message

/** Nothing is sent here: the gateway has one place, and nobody stands behind it. */
function narrow() {
  const clock = { now: () => new Date() }
  const outside = {
    clock,
    random: () => 0.5,
    after: () => {},
    secret: () => 'shared',
    callbackUrl: 'http://127.0.0.1',
    memory: scratchMemory(),
  }
  const gateway = createGateway({ ...providerConfig(9), name: 'narrow', maxConnections: 1 }, outside)
  const deps = { gateways: new Map([['narrow', gateway]]), worker: { waiting: new Set<string>() } }
  return deps as unknown as Deps
}

/** By the rule of sending in the gateways' README: answers to what a patient wrote go before what was planned. */
describe('a free turn', () => {
  it('goes to an answer before what was planned, which waits', () => {
    const taken: Turn[] = []
    const turns = takeTurns(narrow(), [PLANNED, ANSWER], () => undefined, taken)
    expect([...turns.keys()]).toEqual(['m_answer'])
    expect(taken).toEqual([turns.get('m_answer')!.turn])
  })

  it('is left to those who wait already', () => {
    const deps = narrow()
    deps.worker.waiting.add('m_before 1')
    expect(takeTurns(deps, [PLANNED, ANSWER], () => undefined, []).size).toBe(0)
  })

  it('is not taken by whoever has waited for one', () => {
    const deps = narrow()
    const turn = deps.gateways.get('narrow')!.turnAtOnce!('sms')!
    const taken: Turn[] = []
    const had = { gateway: 'narrow', channel: 'sms', turn } as const
    const turns = takeTurns(deps, [ANSWER, PLANNED], ({ id }) => (id === PLANNED.id ? had : undefined), taken)
    expect([...turns]).toEqual([[PLANNED.id, had]])
    expect(taken).toEqual([])
  })

  it('is not needed at a gateway that gives none', () => {
    const elsewhere = { ...PLANNED, gateway: 'gone' }
    expect(takeTurns(narrow(), [elsewhere], () => undefined, []).get(PLANNED.id)).toBeNull()
  })
})
