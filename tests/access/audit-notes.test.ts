import { createHmac, hkdfSync } from 'node:crypto'
import { appendFile, mkdtemp, readFile, rm, stat, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { pino } from 'pino'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { createHeadNotes } from '../../src/adapters/audit-notes/head-notes.ts'
import { noteAddress, noteFile } from '../../src/adapters/audit-notes/note-places.ts'
import { loadConfig } from '../../src/config.ts'
import { findingWords, verifyAudit } from '../../src/flows/access/verify-audit.ts'
import { TEST_KEY, testVault } from '../harness/servers.ts'
import { TestWorld } from '../harness/world.ts'
import { API_KEY, bearer, cookieOf, hire, listenOn, serveClosed, type Served } from './signed-in.ts'

describe('heads of the record, noted away from the database', () => {
  let world: TestWorld
  let served: Served
  let folder: string
  let file: string
  const admin = bearer(API_KEY)
  const sql = async (text: string) => (await world.composed.database.records.query(text)).rows
  const asOwner = async (...texts: string[]) => {
    await sql('alter table daysix.audit disable trigger all')
    for (const text of texts) await sql(text)
    await sql('alter table daysix.audit enable trigger all')
  }
  const look = (times: number) =>
    Promise.all(Array.from({ length: times }, () => served.ask('/api/v1/people', { headers: admin })))
  const note = () => world.deps.headNotes.note()
  const findings = async () =>
    (await verifyAudit(world.deps.access, { notes: await world.deps.headNotes.read() })).findings
  const lines = async () => (await readFile(file, 'utf8')).split('\n').slice(0, -1)

  beforeEach(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-notes-'))
    file = join(folder, 'heads.log')
    world = await TestWorld.create('2026-03-09T13:00:00Z', undefined, [], { settings: { AUDIT_NOTES: file } })
    served = await serveClosed(world)
    await look(6)
  })
  afterEach(async () => {
    await served.close()
    await world.close()
    await rm(folder, { recursive: true })
  })

  it('are lines with time, number, hash and signature, for the service alone, and only where something is new', async () => {
    await note()
    await note()
    await look(1)
    await note()
    const { seq, hash } = await world.deps.access.read.audit.head()
    const written = await lines()
    expect(written).toHaveLength(2)
    expect(written[1]).toMatch(new RegExp(`^2026-03-09T13:00:00.000Z ${seq}:${hash} [\\w-]{43}$`))
    expect((await stat(file)).mode & 0o777).toBe(0o600)
    expect(await findings()).toEqual([])
  })

  it('tell of a tail that was cut off with the head set back', async () => {
    await note()
    const { seq } = await world.deps.access.read.audit.head()
    await asOwner(
      `update daysix.audit_head set seq = ${seq - 2}, hash = (select hash from daysix.audit where seq = ${seq - 2})`,
      `delete from daysix.audit where seq > ${seq - 2}`,
    )
    expect((await verifyAudit(world.deps.access)).findings).toEqual([]) // without notes nothing tells
    expect(await findings()).toEqual([{ seq, fault: 'cut-off' }])
    // What is written since cannot hide it.
    await look(4)
    expect(await findings()).toEqual([{ seq, fault: 'other-than-noted' }])
  })

  it('tell of an emptied table, by API and on the page, in plain words', async () => {
    await note()
    const { seq } = await world.deps.access.read.audit.head()
    const boss = await hire(world, { login: 'boss', role: 'administrator' })
    const headers = await cookieOf(world, boss.id)
    await asOwner('delete from daysix.audit', "update daysix.audit_head set seq = 0, hash = ''")
    const words = `Entry ${seq} and what follows was cut off.`
    const verdict = await served.ask('/api/v1/audit/verdict', { headers: admin })
    expect(JSON.parse(verdict.text)).toMatchObject({ notes: 1, findings: [{ seq, fault: 'cut-off', words }] })
    const page = await served.ask('/settings/audit', { headers, form: {} })
    expect(page.text).toContain(words)
  })

  it('say on the page how many agreed', async () => {
    await note()
    const boss = await hire(world, { login: 'boss', role: 'administrator' })
    const page = await served.ask('/settings/audit', { headers: await cookieOf(world, boss.id), form: {} })
    expect(page.text).toContain('and agree with the head noted here')
  })

  it('cannot be written by somebody without the key, nor changed', async () => {
    await note()
    const [line] = await lines()
    const { seq } = await world.deps.access.read.audit.head()
    await writeFile(file, line!.replace(`${seq}:`, `${seq - 1}:`) + '\n')
    await appendFile(file, 'something else\n')
    const found = await findings()
    expect(found).toEqual([
      { seq: seq - 1, fault: 'note-not-ours' },
      { seq: 0, fault: 'note-not-ours' },
    ])
    expect(findingWords(found[0]!)).toBe(`Entry ${seq - 1} is named in a note that this service did not write.`)
  })

  it('older than what retention has taken away are explained by it', async () => {
    await note()
    await world.clock.moveTo(new Date('2026-04-09T13:00:00Z'))
    await look(3)
    await note()
    const before = new Date('2026-04-01T00:00:00Z')
    await world.deps.access.transact((tx) => tx.audit.prune(before, world.clock.now()))
    expect(await findings()).toEqual([])
  })

  it('a page reads only the newest', async () => {
    const place = noteFile(file)
    const { vault, log, metrics } = world.composed
    const notes = createHeadNotes({ access: world.deps.access, clock: world.clock, vault, log, metrics }, place)
    for (let n = 0; n < 12; n++) {
      await look(1)
      await notes.note()
    }
    const all = await notes.read()
    const some = await notes.read(4)
    expect(all).toHaveLength(12)
    expect(all.every(({ isOurs }) => isOurs)).toBe(true)
    expect(some.length).toBeGreaterThanOrEqual(4)
    expect(some).toEqual(all.slice(-some.length))
    expect(some.length).toBeLessThan(12)
  })

  it('a subject taken out of what searches go by, or put in, is found', async () => {
    const { id } = (await world.book({ visit: '2026-03-25T09:00' })).booking
    await served.ask(`/api/v1/bookings/${id}`, { headers: admin })
    const { seq } = await world.deps.access.read.audit.head()
    expect(await findings()).toEqual([])
    await sql(`delete from daysix.audit_subject where subject = '${id}' and seq = ${seq}`)
    expect(await findings()).toEqual([{ seq, fault: 'subject-removed' }])
    await sql(`insert into daysix.audit_subject (subject, seq) values ('${id}', ${seq}), ('p_other', ${seq - 1})`)
    expect(await findings()).toEqual([{ seq: seq - 1, fault: 'subject-added' }])
  })

  it('what is written while the record is followed is no finding', async () => {
    const { access } = world.deps
    let isFirst = true
    const audit = {
      ...access.read.audit,
      indexed: async (from: number, to: number) => {
        if (isFirst) await look(3)
        isFirst = false
        return access.read.audit.indexed(from, to)
      },
    }
    const busy = { ...access, read: { ...access.read, audit } }
    const { entries, head, findings: found } = await verifyAudit(busy)
    expect([entries, found]).toEqual([head.seq, []])
  })
})

describe('a note that goes out', () => {
  const head = { seq: 7, hash: 'h' }
  const access = { read: { audit: { head: async () => head } } } as never
  const clock = { now: () => new Date('2026-03-09T13:00:00Z') }
  const vault = testVault()
  const told = (place: ReturnType<typeof noteAddress>) => {
    const heard: Record<string, unknown>[] = []
    const log = pino({ base: null }, { write: (line: string) => void heard.push(JSON.parse(line)) })
    let failures = 0
    const notes = createHeadNotes({ access, clock, vault, log, metrics: { notice: () => failures++ } }, place)
    return { notes, heard, failures: () => failures }
  }

  it('is the same as JSON, signed by a key of its own (HKDF and HMAC by RFC 5869 and 2104, as Node has them)', async () => {
    const bodies: unknown[] = []
    const { base, close } = await listenOn((request, response) => {
      let text = ''
      request.on('data', (part: Buffer) => (text += part.toString()))
      request.on('end', () => {
        bodies.push([request.method, request.headers['content-type'], JSON.parse(text)])
        response.writeHead(204).end()
      })
    })
    const { notes, heard, failures } = told(noteAddress(`${base}/heads`))
    await notes.note()
    await close()
    const key = Buffer.from(
      hkdfSync('sha256', Buffer.from(TEST_KEY, 'base64'), Buffer.alloc(0), 'daysix audit head', 32),
    )
    const at = '2026-03-09T13:00:00.000Z'
    const signature = createHmac('sha256', key).update(`${at} 7:h`).digest('base64url')
    expect(bodies).toEqual([['POST', 'application/json', { at, head: '7:h', signature }]])
    expect(heard).toMatchObject([{ head: '7:h', signature, msg: 'head of the audit record' }])
    expect(failures()).toBe(0)
  })

  it.each([
    ['nobody answers', 'https://127.0.0.1:1/heads', 'econnrefused'],
    ['the address is one of the machine itself', 'https://169.254.169.254/heads', 'egress_refused'],
  ])('stops nothing where %s: it is logged, counted, and tried again', async (_what, address, code) => {
    const { notes, heard, failures } = told(noteAddress(address))
    await notes.note()
    await notes.note()
    expect(failures()).toBe(2)
    expect(heard.filter(({ msg }) => msg === 'the head of the audit record could not be noted')).toMatchObject([
      { code },
      { code },
    ])
  })

  it('goes over TLS only', () => {
    expect(loadConfig({ AUDIT_NOTES: 'https://notes.example/heads' }).auditNotes).toBe('https://notes.example/heads')
    expect(loadConfig({ AUDIT_NOTES: '/var/log/heads' }).auditNotes).toBe('/var/log/heads')
    expect(() => loadConfig({ AUDIT_NOTES: 'http://notes.example/heads' })).toThrow(/AUDIT_NOTES/)
  })
})
