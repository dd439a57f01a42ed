import { afterEach, describe, expect, it } from 'vitest'
import { scratchMemory } from '../../src/adapters/db/gateway-memory.ts'
import { createGateway } from '../../src/adapters/gateways/create-gateway.ts'
import { verifyAudit } from '../../src/flows/access/verify-audit.ts'
import { isTrial } from '../../src/flows/region/in-earnest.ts'
import { checkedClinic } from '../../src/flows/region/put-clinic.ts'
import { isFictional } from '../../src/domain/patients/phone.ts'
import { CLINIC } from '../harness/world.ts'
import { Carrier, openOffice, OWN_NUMBER, words, type Office } from './office.ts'

let office: Office | undefined
afterEach(async () => {
  await office?.close()
  office = undefined
})

const BAND = 'Trial: nobody is reached. Messages go to simulated phones.'

describe('a trial', () => {
  it('is said on every page while only simulated phones are there', async () => {
    office = await openOffice()
    for (const path of ['/', '/settings', '/settings/people', '/desk/harbour/bookings', '/desk/harbour/calls'])
      expect(words(await office.get(path)), path).toContain(`${BAND} Set up the service`)
    const clerks = words(await office.served.ask('/desk/harbour/bookings', { headers: office.clerk }))
    expect(clerks).toContain(BAND)
    expect(clerks).not.toContain('Set up the service')
  })

  it('is over with one gateway that reaches people', async () => {
    office = await openOffice([new Carrier()])
    for (const path of ['/', '/settings', '/desk/harbour/bookings'])
      expect(words(await office.get(path)), path).not.toContain('Trial')
  })

  it('is one still through a failover of simulated networks', () => {
    const deps = {
      clock: { now: () => new Date(0) },
      random: () => 0.5,
      after: () => {},
      secret: () => undefined,
      memory: scratchMemory(),
    }
    const through = ['a', 'b'].map((name) => ({ kind: 'pocket', name }))
    const both = createGateway({ kind: 'failover', name: 'both', through }, deps)
    expect(isTrial({ gateways: new Map([['both', both]]) })).toBe(true)
  })
})

describe('a number set apart for fiction', () => {
  // 555-0100 to 555-0199 of any area (North American Numbering Plan; value from memory).
  it.each([
    ['+17825550100', true],
    ['+16135550199', true],
    ['+17825550200', false],
    ['+17825551100', false],
    ['+441632960190', false],
  ])('%s: %s', (phone, fictional) => {
    expect(isFictional(phone)).toBe(fictional)
  })

  const gateways = new Map([['carrier', new Carrier()]])
  const check = (production: boolean, gateway: string, phone = CLINIC.phone) =>
    checkedClinic(
      { gateways, policy: { production } as never },
      { ...CLINIC, phone, settings: { ...CLINIC.settings, gateway } },
    )

  it('is refused in production where people are reached, and only there', () => {
    expect(() => check(true, 'carrier')).toThrow('set apart for fiction')
    expect(check(true, 'carrier', OWN_NUMBER).phone).toBe('+441632960190')
    expect(check(true, 'pocket').phone).toBe(CLINIC.phone)
    expect(check(false, 'carrier').phone).toBe(CLINIC.phone)
  })

  it('is warned of on the page of the clinic and in the set-up otherwise', async () => {
    office = await openOffice([new Carrier()])
    await office.world.putClinic({ gateway: 'carrier' })
    expect(words(await office.get('/settings/clinics'))).toContain('nobody answers there')
    expect(words(await office.get('/settings/clinics/harbour'))).toContain('where nobody answers')
    expect(words(await office.get('/settings'))).toContain('Nobody answers at the number of Harbour Clinic')
  })
})

describe('without a clinic', () => {
  it('an administrator is led to add the first one', async () => {
    office = await openOffice()
    const { records } = office.world.composed.database
    await records.query('update person set clinic_id = null')
    await records.query('delete from clinic')
    const page = await office.get('/desk')
    expect(page.text).toContain('href="/settings/clinics/new"')
    expect(words(await office.get('/settings'))).toContain('There is no clinic yet.')
  })
})

describe('a part of the record', () => {
  it('is checked from where it begins, and what lies before it is not', async () => {
    office = await openOffice()
    for (let n = 0; n < 4; n++) await office.get('/settings/people')
    const { access } = office.world.deps
    const { seq } = await access.read.audit.head()
    expect(await verifyAudit(access, { newest: 3 })).toMatchObject({ entries: 3, from: seq - 2, findings: [] })
    expect(await verifyAudit(access)).toMatchObject({ entries: seq, from: null, findings: [] })
  })
})
