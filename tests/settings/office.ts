import type { Gateway, Outgoing } from '../../src/flows/ports/gateway.ts'
import { cookieOf, hire, serveClosed, type Served, type Told } from '../access/signed-in.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'

export const NOW = '2026-03-09T13:00:00Z'
/** Set apart for drama (Ofcom; value from memory): nobody is reached, and it is none of North America's fiction. */
export const OWN_NUMBER = '+44 1632 960190'

/** What stands for a provider of texts: it takes every message and keeps it, in memory. */
export class Carrier implements Gateway {
  readonly name = 'carrier'
  readonly channels = ['sms'] as const
  readonly onUnknown = 'ask-desk'
  readonly sent: Outgoing[] = []
  start = async () => {}
  stop = async () => {}
  health = () => ({ ok: true }) as const
  send: Gateway['send'] = async (message) => {
    this.sent.push(message)
    return { kind: 'accepted', ref: 'r-1' }
  }
}

export interface Office {
  world: TestWorld
  served: Served
  /** Cookies of people: an administrator, and a clerk of the one clinic. */
  administrator: Record<string, string>
  clerk: Record<string, string>
  get(path: string): Promise<Told>
  post(path: string, form: Record<string, string | string[]>): Promise<Told>
  close(): Promise<void>
}

/** The real service with everything closed, and an administrator at its settings. */
export async function openOffice(more: Gateway[] = [], settings: Record<string, string> = {}): Promise<Office> {
  const world = await TestWorld.create(NOW, undefined, more, { settings })
  const served = await serveClosed(world)
  const boss = await hire(world, { login: 'boss', name: 'Odile Ashquay', role: 'administrator' })
  const clerk = await hire(world, { login: 'clerk', name: 'Marit Quillon', role: 'desk', clinicId: CLINIC.id })
  const [administrator, clerks] = [await cookieOf(world, boss.id), await cookieOf(world, clerk.id)]
  return {
    world,
    served,
    administrator,
    clerk: clerks,
    get: (path) => served.ask(path, { headers: administrator }),
    post: (path, form) => {
      const body = new URLSearchParams()
      for (const [name, value] of Object.entries(form)) for (const each of [value].flat()) body.append(name, each)
      return served.ask(path, { headers: administrator, raw: body.toString() })
    },
    close: async () => (await served.close(), world.close()),
  }
}

/** A page's words, as text. */
export const words = ({ text }: Told): string =>
  text
    .replaceAll(/<(script|style)[\s\S]*?<\/\1>/g, '')
    .replaceAll(/<[^>]+>/g, ' ')
    .replaceAll('&#39;', "'")
    .replaceAll(/\s+/g, ' ')
