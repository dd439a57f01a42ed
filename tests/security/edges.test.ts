import { connect } from 'node:net'
import { chmod, mkdtemp, readdir, rm, stat } from 'node:fs/promises'
import { Writable } from 'node:stream'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import express from 'express'
import pino from 'pino'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import { createHttpGateway } from '../../src/adapters/gateways/http/http-gateway.ts'
import { createApp } from '../../src/adapters/http/app.ts'
import { FailureLimit } from '../../src/adapters/http/access/failure-limit.ts'
import { webhooks } from '../../src/adapters/http/messages/webhooks.ts'
import { problemHandler } from '../../src/adapters/http/problem.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'
import { API_KEY, CLOSED, bearer, cookieOf, hire, listenOn, serveClosed, type Served } from '../access/signed-in.ts'
import { SOON } from '../harness/patience.ts'
import { TestWorld } from '../harness/world.ts'

const HER = '+17825550101'

/** A log of its own, to look into. */
function keptLog() {
  const lines: { level: number; msg: string }[] = []
  const sink = new Writable({
    write: (chunk: Buffer, _encoding, done) => {
      lines.push(JSON.parse(chunk.toString('utf8')) as (typeof lines)[0])
      done()
    },
  })
  return { lines, log: pino({ level: 'debug' }, sink) }
}

describe('at the edges', () => {
  let world: TestWorld
  let served: Served

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    served = await serveClosed(world)
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  it('forged calls of a gateway hold up no good one, and are told to stop', async () => {
    const heard: unknown[] = []
    const gateway = createHttpGateway(
      {
        kind: 'http',
        name: 'texter',
        request: { method: 'GET', url: 'https://texts.example/send' },
        replies: {
          auth: { kind: 'query', secret: 'env:KEY' },
          from: 'query:from',
          text: 'query:text',
          key: 'query:id',
        },
      },
      { clock: { now: () => new Date() }, secret: () => 'open sesame' },
    )
    await gateway.start({ receipt: async () => {}, message: async (reply) => void heard.push(reply) })
    const gateways = new Map([['texter', gateway]])
    const app = express().use(
      '/gateways',
      webhooks({ gateways } as unknown as Deps, new FailureLimit(() => new Date())),
    )
    app.use(problemHandler(pino({ level: 'silent' })))
    const place = await listenOn(app)
    const call = async (key: string, id: number) =>
      (await place.ask(`/gateways/texter/reply?${new URLSearchParams({ key, from: HER, text: 'hi', id: `${id}` })}`))
        .status
    const forged: number[] = []
    for (let i = 0; i < 130; i++) forged.push(await call('guess', i))
    expect([forged[0], forged.at(-1)]).toEqual([401, 429])
    for (let i = 0; i < 3; i++) expect(await call('open sesame', i)).toBe(200)
    expect(heard).toHaveLength(3)
    await place.close()
  })

  it('twenty answers a day are taken on a private page; then it says whom to call', async () => {
    const { booking } = await world.book({ visit: '2026-03-25T09:00', phone: HER })
    const page = new URL(world.deps.pageOf(booking.id, HER)).pathname
    const answers = []
    for (let i = 0; i < 25; i++) answers.push(await served.ask(page, { form: { answer: 'unclear' } }))
    expect(answers.map(({ status }) => status)).toEqual([...Array(20).fill(303), ...Array(5).fill(429)])
    expect(answers.at(-1)!.text).toMatch(/role="alert"><p>Call us:\s+<span dir="ltr">/)
    expect(await world.deps.store.read.replies.fromPhone(HER, new Date(0))).toHaveLength(20)
    await world.clock.moveTo(new Date('2026-03-10T13:00:01Z'))
    expect((await served.ask(page, { form: { answer: 'unclear' } })).status).toBe(303)
  })

  it('JSON that is nested 30,000 deep is refused like other bad JSON', async () => {
    const deep = (levels: number) => `{"at":${'['.repeat(levels)}${']'.repeat(levels)}}`
    const post = (raw: string) =>
      served.ask('/api/v1/openings', {
        raw,
        headers: { ...bearer(API_KEY), 'Content-Type': 'application/json', Accept: 'application/json' },
      })
    expect((await post(deep(30_000))).status).toBe(400)
    expect((await post(`{"at":${'['.repeat(30_000)}`)).status).toBe(400)
    expect((await post(`{"at":["${'['.repeat(5_000)}\\"["]}`)).status).toBe(422) // brackets in a text are no nesting
  })

  it('a body that breaks off is no error of ours', async () => {
    const { deps, news, wording } = world.composed
    const { lines, log } = keptLog()
    const ready = async () => ({ database: true })
    const own = await listenOn(createApp({ deps, log, news, wording, apiKey: API_KEY, authSettings: CLOSED, ready }))
    for (let i = 0; i < 5; i++) {
      const socket = connect(Number(new URL(own.base).port), '127.0.0.1')
      socket.write(
        `POST /api/v1/bookings HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer ${API_KEY}\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{"a"`,
      )
      setTimeout(() => socket.destroy(), 50)
    }
    await vi.waitUntil(() => lines.length >= 5, SOON)
    expect(lines.filter(({ level }) => level > pino.levels.values.debug!)).toEqual([])
    await own.close()
  })

  it('over TLS, a page of the same name without TLS is none of ours', async () => {
    const secure = await serveClosed(world, { ...CLOSED, secure: true })
    const { id } = await hire(world, { login: 'clerk', role: 'desk', clinicId: 'harbour' })
    const cookie = (await cookieOf(world, id)).Cookie!.replace('daysix=', '__Host-daysix=')
    const { host } = new URL(secure.base)
    const signOut = async (Origin: string) =>
      (await secure.ask('/sign-out', { form: {}, headers: { Cookie: cookie, Origin } })).status
    expect(await signOut(`http://${host}`)).toBe(401)
    expect(await signOut(`https://${host}`)).toBe(303)
    await secure.close()
  })
})

describe('the data folder', () => {
  it('is shut to everybody else on the machine, with every file in it', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'daysix-open-'))
    await chmod(folder, 0o755)
    const database = await openEmbedded(folder)
    expect(database.wasOpen).toBe(true)
    const open: string[] = []
    for (const name of ['', ...(await readdir(join(folder, 'postgres'), { recursive: true }))]) {
      const { mode } = await stat(join(folder, 'postgres', name))
      if ((mode & 0o077) !== 0) open.push(name)
    }
    expect(open).toEqual([])
    expect((await stat(folder)).mode & 0o777).toBe(0o700)
    await database.close()
    const again = await openEmbedded(folder)
    expect(again.wasOpen).toBe(false)
    await again.close()
    await rm(folder, { recursive: true })
  })
})
