import { spawn } from 'node:child_process'
import { readFile } from 'node:fs/promises'
import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway } from '../../src/adapters/gateways/create-gateway.ts'
import { RULES } from '../access/all-rules.ts'
import type { CallbackGateway } from '../../src/flows/ports/gateway.ts'
import { TestWorld } from '../harness/world.ts'
import { serveClosed, type Served } from '../access/signed-in.ts'

const SLOWEST_MS = 5_000
const LEAK = /node_modules|\bat .+\.(ts|js):\d+|SQLSTATE|select .+ from |syntax error at|PGlite/i

/** Anything JSON can say, with what breaks parsers and databases among it. */
const odd = fc.oneof(
  fc.constantFrom(
    '',
    ' ',
    '\u0000',
    '\ud800',
    '2026-02-30',
    '9999-12-31',
    '0000-00-00',
    '2026-03-08T02:30',
    '+1',
    'b_',
    'b_0000000000000000000',
    '__proto__',
    '1e999',
    '%',
    "'",
    '../..',
    'x'.repeat(5_000),
  ),
  fc.string({ unit: 'binary', maxLength: 60 }),
  fc.integer(),
  fc.double(),
  fc.constantFrom(null, true, [], {}, [[]], -1, 0, 2 ** 53, 1e308),
  fc.jsonValue({ maxDepth: 3 }),
)

/** Without halves of surrogate pairs, which no URL can carry. */
const whole = (text: string) => Buffer.from(text).toString()

/** A good booking with one to three of its parts replaced by something odd. */
const spoilt = fc
  .tuple(
    fc.array(
      fc.tuple(
        fc.constantFrom(
          'visit',
          'zone',
          'patient',
          'patient.name',
          'patient.phone',
          'patient.language',
          'patient.channel',
          'cycle',
          'cycle.lmp',
          'cycle.usualCycleDays',
          'cycle.pastStarts',
          'cycle.pastCycleDays',
          'cycle.age',
          'consent',
          'consent.recordedAt',
          'clinic',
          'clinician',
          'protocol',
          'by',
        ),
        odd,
      ),
      { minLength: 1, maxLength: 3 },
    ),
    fc.nat(59),
  )
  .map(([changes, minute]) => {
    const booking: Record<string, unknown> = {
      visit: `2026-03-25T09:${String(minute).padStart(2, '0')}`,
      patient: { name: 'Ada', phone: '782 555 0101' },
      cycle: { lmp: '2026-03-02' },
      consent: { recordedBy: 'desk' },
    }
    for (const [path, value] of changes) {
      const [outer, inner] = path.split('.') as [string, string | undefined]
      if (inner === undefined) booking[outer] = value
      else if (typeof booking[outer] === 'object' && booking[outer] !== null && !Array.isArray(booking[outer]))
        booking[outer] = { ...booking[outer], [inner]: value }
    }
    return booking
  })

describe('whatever is sent', () => {
  let world: TestWorld
  let served: Served

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    // As on this machine without a key: not limited, so that the rest can be tried fast.
    served = await serveClosed(world, {
      apiKey: undefined,
      open: { api: true, pages: true },
      idleMs: 60_000,
      secure: false,
      proxies: 0,
      cover: null,
    })
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  async function harmless(path: string, asked: Parameters<Served['ask']>[1]): Promise<void> {
    const began = performance.now()
    const { status, text } = await served.ask(path, asked)
    expect({ path, status, fine: status < 500 }).toMatchObject({ fine: true })
    expect(text).not.toMatch(LEAK)
    expect(performance.now() - began).toBeLessThan(SLOWEST_MS)
  }

  it('a booking of any shape is answered, never with a fault of ours', async () => {
    await fc.assert(
      fc.asyncProperty(spoilt, (json) => harmless('/api/v1/bookings', { json })),
      { numRuns: 150 },
    )
  })

  it('every address of the API takes any body, any id and any query', async () => {
    const addresses = RULES.filter(({ path }) => path.startsWith('/api')).flatMap(({ methods, path }) =>
      methods.map((method) => ({ method, path })),
    )
    const query = fc.dictionary(
      fc.constantFrom('clinic', 'day', 'from', 'to', 'state', 'limit', 'cursor', 'before', 'actor', 'subject', 'x'),
      fc.string({ unit: 'binary', maxLength: 30 }),
      { maxKeys: 3 },
    )
    const id = fc.oneof(
      fc.string({ unit: 'binary', minLength: 1, maxLength: 30 }),
      fc.constantFrom('b_0', 'p_\u0000', '%', '..', 'harbour'),
    )
    await fc.assert(
      fc.asyncProperty(fc.constantFrom(...addresses), id, query, odd, ({ method, path }, name, asked, json) => {
        const address = path.replaceAll(/\{\w+\}/g, encodeURIComponent(whole(name)))
        const search = new URLSearchParams(asked).toString()
        return harmless(`${address}?${search}`, { method, ...(method !== 'GET' && { json }) })
      }),
      { numRuns: 250 },
    )
  })

  it('every page of the desk takes any form and any query', async () => {
    const pages = [
      '',
      '/harbour',
      '/harbour/bookings',
      '/harbour/book',
      '/harbour/calls',
      '/harbour/replies',
      '/harbour/openings',
      '/harbour/feeds',
      '/harbour/day-sheet',
      '/harbour/texts',
      '/harbour/service',
      '/harbour/visits/b_0',
      '/nowhere/bookings',
    ]
    const fields = fc.dictionary(
      fc.constantFrom(
        'day',
        'q',
        'clinician',
        'visit',
        'name',
        'phone',
        'lmp',
        'week',
        'from',
        'to',
        'text',
        'before',
        'language',
        'said',
        'protocol',
        'outcome',
      ),
      fc.string({ unit: 'binary', maxLength: 30 }).map(whole),
      { maxKeys: 5 },
    )
    await fc.assert(
      fc.asyncProperty(fc.constantFrom(...pages), fields, fc.boolean(), (page, form, isForm) =>
        harmless(
          isForm ? `/desk${page}` : `/desk${page}?${new URLSearchParams(form).toString()}`,
          isForm ? { method: 'POST', form } : {},
        ),
      ),
      { numRuns: 200 },
    )
  })

  it('sign-in, private pages and unknown addresses take anything', async () => {
    const text = fc.string({ unit: 'binary', maxLength: 100 }).map(whole)
    await fc.assert(
      fc.asyncProperty(
        fc.constantFrom('/sign-in/first', '/account/password', '/account/codes', '/sign-out'),
        fc.dictionary(fc.constantFrom('login', 'password', 'code', 'again', 'to', 'secret', 'old', 'end'), text),
        (path, form) => harmless(path, { method: 'POST', form }),
      ),
      { numRuns: 25 },
    )
    await fc.assert(
      fc.asyncProperty(text, (each) => harmless(`/v/${encodeURIComponent(each)}`, {})),
      { numRuns: 40 },
    )
    await fc.assert(
      fc.asyncProperty(fc.webPath(), (each) => harmless(each.startsWith('/') ? each : `/${each}`, {})),
      { numRuns: 60 },
    )
  })
})

describe('webhooks', () => {
  it('take any bytes, and believe none without its signature', async () => {
    const text = await readFile(new URL('../../infra/gateways/provider.yaml', import.meta.url), 'utf8')
    const gateway = createGateway(text, {
      clock: { now: () => new Date('2026-03-09T13:00:00Z') },
      random: () => 0.5,
      after: () => {},
      secret: () => 'a-secret-of-the-provider',
      callbackUrl: 'https://clinic.example/gateways',
      memory: scratchMemory(),
    }) as CallbackGateway
    const heard: unknown[] = []
    await gateway.start({
      receipt: async (receipt) => void heard.push(receipt),
      message: async (reply) => void heard.push(reply),
    })
    const bytes = fc.uint8Array({ maxLength: 300 }).map((array) => Buffer.from(array))
    const fields = fc.dictionary(
      fc.constantFrom('id', 'via', 'key', 'token', 'x-signature', 'authorization', 'x-timestamp', 'content-type'),
      fc.string({ unit: 'binary', maxLength: 60 }),
    )
    await fc.assert(
      fc.asyncProperty(
        fc.constantFrom('receipt' as const, 'reply' as const),
        fc.constantFrom('GET', 'POST'),
        fields,
        fields,
        bytes,
        async (path, method, query, headers, body) => {
          const url = `/gateways/provider/${path}?${new URLSearchParams(query)}`
          const { status } = await gateway.callback({ path, method, url, query, headers, body })
          expect([400, 401, 404]).toContain(status)
        },
      ),
      { numRuns: 300 },
    )
    expect(heard).toEqual([])
    await gateway.stop()
  })
})

describe('JSON lines', () => {
  const SAMPLES: Record<string, Record<string, unknown>> = {
    forecast: {
      id: 'a',
      lmp: '2026-03-02',
      usualCycleDays: 29,
      pastCycleDays: [28, 31],
      age: 34,
      from: '2026-03-20',
      to: '2026-04-20',
    },
    suggest: {
      id: 'a',
      lmp: '2026-03-02',
      now: '2026-03-10T09:00',
      booked: '2026-03-30T10:30',
      zone: 'America/Halifax',
      openings: ['2026-04-06T09:00'],
    },
    plan: {
      id: 'a',
      visit: '2026-03-20T10:30',
      zone: 'America/Halifax',
      bookedAt: '2026-02-20T15:00',
      lmp: '2026-03-02',
      language: 'en',
      channel: 'sms',
    },
    'read-reply': {
      id: 'a',
      text: 'got my period yesterday',
      language: 'en',
      receivedAt: '2026-03-18T14:00:00-03:00',
      visit: '2026-03-20T10:30:00-03:00',
      choices: 0,
    },
    text: {
      id: 'a',
      kind: 'prep',
      language: 'fr',
      channel: 'sms',
      detail: 'full',
      visit: '2026-03-20T10:30',
      zone: 'America/Halifax',
    },
  }

  it.each(Object.keys(SAMPLES))(
    '%s answers every line, good or bad, in order, and goes on',
    async (command) => {
      const sample = SAMPLES[command]!
      const line = fc.oneof(
        fc
          .tuple(fc.constantFrom(...Object.keys(sample)), odd)
          .map(([field, value]) => JSON.stringify({ ...sample, [field]: value })),
        fc
          .string({ unit: 'binary', maxLength: 80 })
          .map((text) => whole(text.replaceAll(/[\r\n\u2028\u2029]/g, ' ')) || '-'),
        fc.jsonValue().map((value) => JSON.stringify(value)),
      )
      const lines = fc.sample(line, { numRuns: 250, seed: 7 }).filter((each) => each.trim() !== '')
      const { code, output, errors, took } = await run(command, [...lines, JSON.stringify(sample)])
      expect(errors).toBe('')
      expect(code).toBe(2)
      expect(output).toHaveLength(lines.length + 1)
      for (const answer of output) expect(answer).not.toMatch(LEAK)
      expect(JSON.parse(output.at(-1)!)).not.toHaveProperty('error')
      expect(took).toBeLessThan(30_000)
    },
    60_000,
  )

  function run(
    command: string,
    lines: string[],
  ): Promise<{ code: number | null; output: string[]; errors: string; took: number }> {
    const began = performance.now()
    const child = spawn(process.execPath, ['src/cli/daysix.mjs', command], { cwd: new URL('../..', import.meta.url) })
    let [output, errors] = ['', '']
    child.stdout.on('data', (chunk: Buffer) => (output += chunk.toString()))
    child.stderr.on('data', (chunk: Buffer) => (errors += chunk.toString()))
    child.stdin.end(`${lines.join('\n')}\n`)
    return new Promise((done) =>
      child.on('close', (code) =>
        done({ code, output: output.trim().split('\n'), errors, took: performance.now() - began }),
      ),
    )
  }
})
