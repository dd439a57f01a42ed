import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { verifyAudit } from '../../src/flows/access/verify-audit.ts'
import { TestWorld } from '../harness/world.ts'
import { API_KEY, bearer, cookieOf, hire, serveClosed, type Served } from './signed-in.ts'

describe('the record of who saw and changed what', () => {
  let world: TestWorld
  let served: Served
  let clerk: { id: string; headers: Record<string, string> }
  let booking: { id: string; patientId: string }
  const admin = bearer(API_KEY)
  const sql = async (text: string) => (await world.composed.database.records.query(text)).rows
  const audit = async (query: string) =>
    JSON.parse((await served.ask(`/api/v1/audit?${query}`, { headers: admin })).text) as {
      entries: { seq: number; what: string; actorId: string; subjects: string[]; facts: Record<string, unknown> }[]
      next: number | null
    }
  const verdict = async () => (await verifyAudit(world.deps.access)).findings
  const count = async () => Number((await sql('select count(*) as n from daysix.audit'))[0]!.n)

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    served = await serveClosed(world)
    const person = await hire(world, { login: 'curious-clerk', role: 'desk', clinicId: 'harbour' })
    clerk = { id: person.id, headers: await cookieOf(world, person.id) }
    booking = (await world.book({ visit: '2026-03-25T09:00' })).booking
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  it('names whoever looked at a visit, by page or by API, and an administrator finds it by visit and by clerk', async () => {
    await served.ask(`/api/v1/bookings/${booking.id}`, { headers: clerk.headers })
    await served.ask(`/desk/harbour/visits/${booking.id}`, { headers: clerk.headers })
    await served.ask('/desk/harbour/bookings?from=2026-03-25&day=2026-03-25&q=Fenwick', { headers: clerk.headers })
    const { entries } = await audit(`subject=${booking.id}`)
    expect(entries.map(({ actorId, what }) => [actorId, what])).toEqual([
      ['environment', 'GET /api/v1/audit'], // looking into the record is itself on record
      [clerk.id, 'GET /desk/{clinic}/*'], // the list shows it too
      [clerk.id, 'GET /desk/{clinic}/*'],
      [clerk.id, 'GET /api/v1/bookings/{id}'],
    ])
    const seen = (await audit(`actor=${clerk.id}`)).entries
    expect(seen.length).toBeGreaterThanOrEqual(3)
    expect(seen[0]!.facts.day).toBe('2026-03-25')
    expect(JSON.stringify(seen)).not.toContain('Fenwick') // what somebody searched for may be a name
  })

  it('also holds what was refused', async () => {
    expect((await served.ask('/api/v1/audit', { headers: clerk.headers })).status).toBe(403)
    expect((await audit(`actor=${clerk.id}&limit=1`)).entries[0]).toMatchObject({
      what: 'GET /api/v1/audit',
      facts: { refused: 'forbidden' },
    })
  })

  it('is a chain without gaps, whoever wrote at the same moment', async () => {
    const before = await count()
    await Promise.all(
      Array.from({ length: 30 }, () => served.ask(`/api/v1/bookings/${booking.id}`, { headers: clerk.headers })),
    )
    expect(await count()).toBe(before + 30)
    expect(await verdict()).toEqual([])
    expect(JSON.parse((await served.ask('/api/v1/audit/verdict', { headers: admin })).text).findings).toEqual([])
  })

  it('can be read page by page', async () => {
    const seqs: number[] = []
    let before = ''
    for (let i = 0; i < 3; i++) {
      const { entries, next } = await audit(`limit=5${before}`)
      seqs.push(...entries.map(({ seq }) => seq))
      before = `&before=${next}`
    }
    expect(new Set(seqs).size).toBe(15)
    expect(seqs).toEqual([...seqs].sort((a, b) => b - a))
  })

  it('the database itself refuses to change or remove an entry', async () => {
    await expect(sql("update daysix.audit set what = 'nothing' where seq = 2")).rejects.toThrow(/only grows/)
    await expect(sql('delete from daysix.audit where seq = 2')).rejects.toThrow(/only grows/)
    await expect(sql('truncate daysix.audit cascade')).rejects.toThrow(/only grows/)
  })

  it('nothing is shown that cannot be recorded', async () => {
    const [head] = await sql('delete from daysix.audit_head returning seq, hash')
    const { status, text } = await served.ask(`/api/v1/bookings/${booking.id}`, { headers: clerk.headers })
    expect(status).toBe(500)
    expect(text).not.toContain('Fenwick')
    await world.composed.database.records.query('insert into daysix.audit_head (seq, hash) values ($1, $2)', [
      head!.seq,
      head!.hash,
    ])
    expect((await served.ask(`/api/v1/bookings/${booking.id}`, { headers: clerk.headers })).status).toBe(200)
  })

  it('what was done before the record could not be kept is never said to be undone', async () => {
    await sql(`create function daysix.refuse() returns trigger language plpgsql
      as $$ begin raise 'no connection left' using errcode = '53300'; end $$`)
    await sql(
      'create trigger refuse before insert on daysix.audit_subject for each row execute function daysix.refuse()',
    )
    const json = {
      ...{ clinic: 'harbour', visit: '2026-03-27T11:00' },
      patient: { name: 'Gwen Harrow', phone: '782 555 0107' },
      cycle: { lmp: 'unknown' },
    }
    const { status, text } = await served.ask('/api/v1/bookings', { json, headers: clerk.headers })
    await sql('drop trigger refuse on daysix.audit_subject')
    expect([status, (JSON.parse(text) as { code: string }).code]).toEqual([503, 'database-away'])
    // It was booked: whoever is told that nothing was saved books it once more.
    expect(text).toMatch(/may not have been saved.*look first whether it is there/)
    const again = await served.ask('/api/v1/bookings', { json, headers: clerk.headers })
    expect(JSON.parse(again.text)).toMatchObject({ code: 'already-booked' })
  })

  describe('somebody who owns the database but not the key', () => {
    const asOwner = async (text: string) => {
      await sql('alter table daysix.audit disable trigger all')
      await sql(text)
      await sql('alter table daysix.audit enable trigger all')
    }
    const restored = async (tamper: string, mend: string) => {
      await asOwner(tamper)
      const findings = await verdict()
      await asOwner(mend)
      expect(await verdict()).toEqual([])
      return findings
    }

    it('cannot change an entry unnoticed', async () => {
      const [row] = await sql('select actor_id from daysix.audit where seq = 5')
      const findings = await restored(
        "update daysix.audit set actor_id = 'u_somebodyelse' where seq = 5",
        `update daysix.audit set actor_id = '${row!.actor_id}' where seq = 5`,
      )
      expect(findings).toEqual([{ seq: 5, fault: 'altered' }])
    })

    it('cannot remove one unnoticed, nor slip one in', async () => {
      await sql('create table daysix.aside as select * from daysix.audit where seq = 6')
      expect(
        await restored('delete from daysix.audit where seq = 6', 'insert into daysix.audit select * from daysix.aside'),
      ).toEqual([{ seq: 6, fault: 'missing' }])
      const { seq, hash } = await world.deps.access.read.audit.head()
      const forged = `insert into daysix.audit values (${seq + 1}, now(), 'person', 'u_x', 'GET /desk', null, '{"facts":{},"subjects":[]}', '${hash}', 'forged')`
      const findings = await restored(forged, `delete from daysix.audit where seq = ${seq + 1}`)
      expect(findings).toContainEqual({ seq: seq + 1, fault: 'altered' })
      await sql('drop table daysix.aside')
    })

    it('cannot cut off the newest ones unnoticed by whoever noted the head', async () => {
      const noted = await world.deps.access.read.audit.head()
      const before = (await sql(`select hash from daysix.audit where seq = ${noted.seq - 1}`))[0]!.hash as string
      await asOwner(`delete from daysix.audit where seq = ${noted.seq}`)
      expect(await verdict()).toEqual([{ seq: noted.seq, fault: 'cut-off' }])
      await sql(`delete from daysix.audit_subject where seq = ${noted.seq}`)
      await sql(`update daysix.audit_head set seq = ${noted.seq - 1}, hash = '${before}'`)
      expect((await verifyAudit(world.deps.access, { notes: [{ ...noted, isOurs: true }] })).findings).toEqual([
        { seq: noted.seq, fault: 'cut-off' },
      ])
    })
  })

  it('old entries are pruned by its own rule, which it records; any other gap at the beginning is found', async () => {
    await world.clock.moveTo(new Date('2026-04-09T13:00:00Z'))
    await served.ask('/api/v1/clinics/harbour', { method: 'PUT', headers: admin, json: {} })
    const removed = await world.deps.access.transact((tx) =>
      tx.audit.prune(new Date('2026-04-01T00:00:00Z'), world.clock.now()),
    )
    expect(removed).toBeGreaterThan(30)
    expect(await verdict()).toEqual([])
    const { entries } = await audit('actor=retention')
    expect(entries[0]).toMatchObject({ what: 'audit-pruned', facts: { upTo: removed } })
    await sql('alter table daysix.audit disable trigger all')
    await sql(`delete from daysix.audit where seq = ${removed + 1}`)
    expect(await verdict()).toContainEqual({ seq: removed + 1, fault: 'missing' })
  })
})
