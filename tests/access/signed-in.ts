import { createServer, type RequestListener } from 'node:http'
import type { AddressInfo } from 'node:net'
import { createApp } from '../../src/adapters/http/app.ts'
import type { GateSettings } from '../../src/adapters/http/access/identify.ts'
import { choosePassword, invite, type Invitation } from '../../src/adapters/sign-in/people.ts'
import { openSession } from '../../src/adapters/sign-in/sign-in.ts'
import type { TestWorld } from '../harness/world.ts'

export const API_KEY = 'key-of-the-environment-0001'
/** Who did it, where a test does not ask. */
export const BY = { kind: 'person', id: 'u_test' }
export const PASSWORD = 'tiny plum gallop stern'

/** As in production: nothing is open. Without TLS, since tests speak plain HTTP to the loopback. */
export const CLOSED: GateSettings = {
  apiKey: API_KEY,
  open: { api: false, pages: false },
  idleMs: 30 * 60_000,
  secure: false,
  proxies: 0,
  cover: 'The on-call nurse, by the clinic number.',
}

export interface Asked {
  method?: string
  headers?: Record<string, string>
  json?: unknown
  form?: Record<string, string>
  raw?: string
}

export interface Told {
  status: number
  headers: Headers
  text: string
}

export interface Served {
  base: string
  ask(path: string, asked?: Asked): Promise<Told>
  close(): Promise<void>
}

/**
 * Listens on a free port of the loopback. Forms come from a page of this very service unless the headers say otherwise.
 */
export async function listenOn(handler: RequestListener, wanted = 0): Promise<Served> {
  const server = createServer(handler)
  await new Promise<void>((done) => server.listen(wanted, '127.0.0.1', done))
  const base = `http://127.0.0.1:${(server.address() as AddressInfo).port}`
  return {
    base,
    ask: async (path, { method, headers = {}, json, form, raw } = {}) => {
      const body = raw ?? (json !== undefined ? JSON.stringify(json) : form && new URLSearchParams(form).toString())
      const type = json !== undefined ? 'application/json' : 'application/x-www-form-urlencoded'
      const response = await fetch(base + path, {
        method: method ?? (body === undefined ? 'GET' : 'POST'),
        redirect: 'manual',
        headers: { Accept: 'text/html', Origin: base, ...(body !== undefined && { 'Content-Type': type }), ...headers },
        ...(body !== undefined && { body }),
      })
      return { status: response.status, headers: response.headers, text: await response.text() }
    },
    close: () => new Promise<void>((done) => (server.close(() => done()), server.closeAllConnections())),
  }
}

/** The whole service, as in production but for TLS. */
export function serveClosed(world: TestWorld, authSettings: GateSettings = CLOSED, port = 0): Promise<Served> {
  const { deps, log, news, wording, metrics } = world.composed
  const ready = async () => ({ database: true })
  return listenOn(
    createApp({ deps, log, news, wording, apiKey: authSettings.apiKey, authSettings, ready, metrics }),
    port,
  )
}

export function accessDeps(world: TestWorld) {
  const { access, clock, newId } = world.deps
  return { access, clock, newId }
}

/** Somebody with a password. */
export async function hire(world: TestWorld, wish: Partial<Invitation> & Pick<Invitation, 'login' | 'role'>) {
  const usual = { name: `Person ${wish.login}`, clinicId: null, clinician: null, subject: null }
  const { person, code } = await invite(accessDeps(world), { ...usual, ...wish }, BY)
  await choosePassword(accessDeps(world), code, PASSWORD)
  return person
}

/** Asks somebody for codes of this secret from now on, whatever was used before. */
export async function giveCodes(world: TestWorld, id: string, totp: string): Promise<void> {
  await world.deps.access.transact(async (tx) => {
    await tx.persons.update({ ...(await tx.persons.lock(id))!, totp, totpStep: 0 })
  })
}

/** The cookie of a fresh session. */
export async function cookieOf(world: TestWorld, personId: string): Promise<Record<string, string>> {
  return { Cookie: `daysix=${await openSession(accessDeps(world), personId)}` }
}

export const bearer = (secret: string) => ({ Authorization: `Bearer ${secret}` })
