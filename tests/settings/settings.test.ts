import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { clinicSchema } from '../../src/adapters/http/schemas.ts'
import { CLINIC_FIELDS } from '../../src/adapters/http/settings/clinic-fields.ts'
import { shownOf } from '../../src/adapters/http/settings/clinic-form.ts'
import { invite } from '../../src/adapters/sign-in/people.ts'
import { newClinicId } from '../../src/flows/region/put-clinic.ts'
import { BY, accessDeps, bearer, hire, PASSWORD } from '../access/signed-in.ts'
import { CLINIC } from '../harness/world.ts'
import { Carrier, openOffice, OWN_NUMBER, words, type Office } from './office.ts'

/** What the pages show and do, as the task of an administrator has it: own rules, unless a check names a source. */
let office: Office
let carrier: Carrier

beforeAll(async () => {
  carrier = new Carrier()
  office = await openOffice([carrier])
})
afterAll(() => office?.close())

const clinicNow = async (id = CLINIC.id) => (await office.world.deps.store.read.clinics.get(id))!
const asShown = async () => shownOf(await clinicNow())

describe('the set-up', () => {
  it('says of each step whether it is done, by the data, and leads to its page', async () => {
    const page = await office.get('/settings')
    expect(words(page)).toMatch(/3 of 5 steps are left to do\./)
    expect(words(page)).toMatch(/name, number and hours to do .*set apart for fiction/)
    expect(words(page)).toMatch(/What carries the messages to do Nobody is reached by Harbour Clinic/)
    expect(words(page)).toMatch(/approved done Every text is approved in 1 language/)
    expect(words(page)).toMatch(/People who sign in done 2 people may sign in/)
    expect(words(page)).toMatch(/first booking to do There are no openings to offer, and no booking yet/)
    expect(page.text).toContain('href="/settings/clinics/harbour"')
  })

  it('is done once a clinic reaches people, is called at its own number, and has openings and a booking', async () => {
    const other = await openOffice([new Carrier()])
    const { deps } = other.world
    const settings = { ...CLINIC.settings, gateway: 'carrier' }
    await deps.store.transact((tx) => tx.clinics.put({ ...CLINIC, phone: '+441632960190', settings }))
    await other.world.openings('2026-03-24T09:00')
    await other.world.book({ visit: '2026-03-20T10:00' })
    expect(words(await other.get('/settings'))).toContain('Everything is set up.')
    await other.close()
  })

  it('is where an administrator is led from the first password, and nobody else', async () => {
    const first = async (role: 'administrator' | 'desk') => {
      const who = { login: `new-${role}`, name: role, role, clinicId: 'harbour', clinician: null, subject: null }
      const { code } = await invite(accessDeps(office.world), who, BY)
      const form = { code, password: PASSWORD, again: PASSWORD }
      return (await office.served.ask('/sign-in/first', { form })).headers.get('location')
    }
    expect(await first('administrator')).toBe('/settings')
    expect(await first('desk')).toBe('/desk')
  })

  it('is closed to the desk, which sees no link to it; an administrator has one at the desk and on the first page', async () => {
    const asClerk = (path: string) => office.served.ask(path, { headers: office.clerk })
    expect((await asClerk('/settings')).status).toBe(403)
    for (const path of ['/desk/harbour/bookings', '/']) {
      expect((await asClerk(path)).text).not.toContain('href="/settings"')
      expect((await office.get(path)).text).toContain('href="/settings"')
    }
    expect((await office.served.ask('/settings')).headers.get('location')).toBe('/sign-in?to=%2Fsettings')
  })
})

describe('people', () => {
  it('are added with a code that the answer shows once and no address holds', async () => {
    const form = { name: 'Tova Brandle', login: 'Tova', role: 'clinician', clinic: 'harbour', clinician: 'room 1' }
    const answer = await office.post('/settings/people', form)
    const code = /class="secret">([^<]+)</.exec(answer.text)![1]!
    expect(answer.status).toBe(200)
    expect(answer.headers.get('cache-control')).toBe('no-store')
    const chosen = await office.served.ask('/sign-in/first', { form: { code, password: PASSWORD, again: PASSWORD } })
    expect(chosen.status).toBe(303)
    const page = await office.get('/settings/people')
    expect(page.text).not.toContain(code)
    expect(words(page)).toMatch(/Tova Brandle tova Clinician: the day sheet Harbour Clinic list of room 1 May sign in/)
  })

  it('without a name or a clinic are refused beside the field, with all that was typed', async () => {
    const answer = await office.post('/settings/people', { name: '', login: 'x y', role: 'desk', clinic: '' })
    expect(answer.status).toBe(422)
    expect(words(answer)).toMatch(/2 things to mend\. Nothing was changed\./)
    expect(answer.text).toMatch(/href="#clinic">Say at which clinic/)
    expect(answer.text).toContain('value="x y"')
    const taken = await office.post('/settings/people', { name: 'B', login: 'boss', role: 'administrator', clinic: '' })
    expect(taken.text).toContain('id="login-fault">Somebody signs in with this name already')
  })

  it('get a new code, which ends the password, and are shut out for good; nobody shuts themselves out', async () => {
    const { id } = await hire(office.world, { login: 'leaver', role: 'desk', clinicId: 'harbour' })
    expect((await office.post('/settings/people/code', { login: 'leaver' })).text).toContain('class="secret"')
    const person = async () => (await office.world.deps.access.read.persons.get(id))!
    expect((await person()).passwordHash).toBeNull()
    const out = await office.post('/settings/people/out', { login: 'leaver' })
    expect(out.headers.get('location')).toBe('/settings/people?said=person-out')
    expect((await person()).disabledAt).not.toBeNull()
    const oneself = await office.post('/settings/people/out', { login: 'boss' })
    expect(oneself.status).toBe(409)
    expect(words(oneself)).toContain('Nobody can shut themselves out.')
    expect(words(await office.get('/settings/people'))).toContain('Shut out since')
  })
})

describe('keys', () => {
  it('are made with their secret shown once, open what they may, and are revoked', async () => {
    const form = { name: 'Figures', clinic: '', ends: '2026-03-31', may: ['figures:read', 'service:read'] }
    const answer = await office.post('/settings/keys', form)
    const secret = /class="secret address">([^<]+)</.exec(answer.text)![1]!
    expect(answer.headers.get('cache-control')).toBe('no-store')
    const asked = () => office.served.ask('/api/v1/retention', { headers: bearer(secret) })
    expect((await asked()).status).toBe(200)
    const page = await office.get('/settings/keys')
    expect(page.text).not.toContain(secret)
    expect(words(page)).toMatch(
      /Figures see figures without names; see how the service is doing All .* 0 min ago Good until Tuesday 31 March 2026/,
    )
    await office.post('/settings/keys/revoke', { key: /name="key" value="([^"]+)"/.exec(page.text)![1]! })
    expect((await asked()).status).toBe(401)
    expect(words(await office.get('/settings/keys'))).toContain('Revoked on')
  })

  it('that may nothing or end in the past are refused', async () => {
    const answer = await office.post('/settings/keys', { name: 'Nothing', clinic: '', ends: '2026-03-01' })
    expect(answer.status).toBe(422)
    expect(answer.text).toContain('id="may-fault"')
    expect(answer.text).toContain('id="ends-fault"')
    expect(answer.text).toContain('value="Nothing"')
  })
})

describe('a clinic', () => {
  it('is asked for every setting that there is', () => {
    const example = clinicSchema.parse({
      ...{ name: 'A', phone: '+17825550190', zone: 'UTC', country: 'CA' },
      settings: { minors: { below: 16, then: 'guardian' } },
    })
    const paths = (value: unknown, at: string[]): string[] =>
      typeof value === 'object' && value !== null
        ? Object.entries(value).flatMap(([key, each]) => paths(each, [...at, key]))
        : [at.join('.')]
    expect(CLINIC_FIELDS.map(({ path }) => path).sort()).toEqual(paths(example, []).sort())
  })

  it('is kept as it was when nothing is changed', async () => {
    const before = await clinicNow()
    const answer = await office.post('/settings/clinics/harbour', await asShown())
    expect(answer.headers.get('location')).toBe('/settings/clinics/harbour?said=clinic-kept')
    expect(await clinicNow()).toEqual(before)
  })

  it('has its rules changed, as by the API', async () => {
    const before = await asShown()
    await office.post('/settings/clinics/harbour', {
      ...before,
      'settings.emergency': '911',
      'settings.minors.then': 'guardian',
      'settings.minors.below': '16',
      'settings.secondOnPaper': 'yes',
      'settings.minConfidence': '70',
      'settings.visitMinutes': '20',
    })
    expect((await clinicNow()).settings).toMatchObject({
      ...{ emergency: '911', minors: { below: 16, then: 'guardian' }, secondOnPaper: true },
      ...{ minConfidence: 0.7, visitMinutes: 20, address: null },
    })
    await office.post('/settings/clinics/harbour', before)
    expect((await clinicNow()).settings).toMatchObject({ emergency: null, minors: null, visitMinutes: null })
  })

  it('says what is wrong beside each field, keeps what was typed, and keeps nothing', async () => {
    const before = await clinicNow()
    const answer = await office.post('/settings/clinics/harbour', {
      ...(await asShown()),
      name: 'A name that is far too long for a text',
      'settings.hours.weekend.to': '23:30',
      'settings.moveLimit.weeks': '99',
      'settings.minors.below': '12',
    })
    expect(answer.status).toBe(422)
    expect(words(answer)).toContain('4 things to mend. Nothing is saved yet.')
    expect(answer.text).toMatch(/id="name-fault">At most 24 characters/)
    expect(answer.text).toMatch(/id="settings.hours.weekend.from-fault">Hours must lie within 08:00 and 21:00/)
    expect(answer.text).toMatch(/id="settings.moveLimit.weeks-fault">[^<]*a whole number from 0 to 26/)
    expect(answer.text).toMatch(/id="settings.minors.then-fault"/)
    expect(answer.text).toContain('value="A name that is far too long for a text"')
    expect(answer.text).toContain('value="23:30"')
    expect(await clinicNow()).toEqual(before)
  })

  it('is looked at first: its hours in words, its texts as patients get them', async () => {
    const typed = { ...(await asShown()), name: 'Cove Clinic', 'settings.emergency': '112', do: 'look' }
    const answer = await office.post('/settings/clinics/harbour', {
      ...typed,
      'settings.hours.weekdays.from': '10:00',
    })
    expect(words(answer)).toContain(
      'A text due on a Monday at 02:00 goes at 10:00; one due at 23:00 goes the next day at',
    )
    expect(words(answer)).toMatch(/Cove Clinic: From .* to visit: no sex, lube, douching/)
    expect(words(answer)).toMatch(/Cove Clinic: Please call us now at \+17825550190\. .*call 112 now\./)
    expect((await clinicNow()).name).toBe('Harbour Clinic')
  })

  it('is added under an id of its own, by what reaches people', async () => {
    const blank = await office.get('/settings/clinics/new')
    expect(blank.text).toMatch(/<option value="carrier" selected>/)
    const form = { ...(await asShown()), name: 'Harbour', phone: OWN_NUMBER, 'settings.gateway': 'carrier' }
    const answer = await office.post('/settings/clinics', form)
    expect(answer.headers.get('location')).toBe('/settings/clinics/harbour-2?said=clinic-kept')
    expect(await clinicNow('harbour-2')).toMatchObject({ name: 'Harbour', phone: '+441632960190' })
    expect((await clinicNow()).name).toBe('Harbour Clinic')
  })

  it.each([
    ['Île Sainte-Ève', [], 'ile-sainte-eve'],
    ['Assets', [], 'assets-2'],
    ['Region', ['region-2'], 'region-3'],
    ['Клініка', [], 'clinic'],
  ])('%s gets an id that no page has', (name, known, id) => {
    expect(newClinicId(name, known)).toBe(id)
  })
})

describe('gateways', () => {
  it('are shown with what they reach; the simulated one sends no test', async () => {
    const page = words(await office.get('/settings/gateways'))
    expect(page).toMatch(
      /carrier texts People .* Yes Messages go through Simulated phones \(trial\) texts, calls, e-mail Nobody/,
    )
    const answer = await office.post('/settings/gateways', { gateway: 'pocket', to: OWN_NUMBER })
    expect(answer.status).toBe(422)
    expect(words(answer)).toContain('This one leads to simulated phones')
  })

  it('carry the test sentence to the number typed, in words, on record without the number', async () => {
    const answer = await office.post('/settings/gateways', { gateway: 'carrier', to: OWN_NUMBER })
    expect(words(answer)).toMatch(/Handed over the provider has taken the message; its id is r-1/)
    expect(carrier.sent.map(({ to, text }) => `${to} ${text}`)).toEqual([
      '+441632960190 Test of the message gateway. There is nothing to do.',
    ])
    const [entry] = await office.world.deps.access.read.audit.list({ limit: 1 })
    expect(entry).toMatchObject({ what: 'gateway-tested', facts: { gateway: 'carrier', outcome: 'accepted' } })
    expect(JSON.stringify(entry)).not.toContain('960190')
  })

  it('send no test to whoever wants no messages, nor to what is no number', async () => {
    const { store, clock } = office.world.deps
    await store.transact((tx) => tx.optOuts.add('+441632960191', 'stop', clock.now()))
    const sent = carrier.sent.length
    for (const to of ['+44 1632 960191', '960190']) {
      const answer = await office.post('/settings/gateways', { gateway: 'carrier', to })
      expect(answer.text).toContain('id="to-fault"')
      expect(answer.text).toContain(`value="${to}"`)
    }
    expect(carrier.sent).toHaveLength(sent)
  })
})

describe('what is only read', () => {
  it('protocols: rules, days, visits to come, and where each is from', async () => {
    await office.world.book({ visit: '2026-04-07T10:00', phone: '782 555 0105', name: 'Ada Fenwick' })
    const page = words(await office.get('/settings/protocols'))
    expect(page).toMatch(/Liquid-based cervical cytology From Comes with Daysix Visits to come 1 /)
    expect(page).toMatch(/no sex for 48 hours no lubricant for 48 hours/)
    expect(page).toMatch(/Not on days 1 to 5; best about day 15, well timed from day 11 to 19\./)
  })

  it('what is kept: days, the setting that changes them, and what was cleared up to where', async () => {
    const page = async () => words(await office.get('/settings/retention'))
    expect(await page()).toMatch(/90 days after the patient’s last visit RETENTION_CYCLE_DAYS Nothing yet/)
    const { access, clock } = office.world.deps
    const marks = new Map(['cycles', 'readings', 'followUps'].map((kind) => [kind, new Date('2025-12-09T13:00:00Z')]))
    await access.transact((tx) => tx.retention.noteRun(clock.now(), { cycles: 3 }, marks))
    expect(await page()).toMatch(/RETENTION_CYCLE_DAYS Tuesday 9 December 2025 .*Patients’ dates of periods 3/)
  })

  it('the record: newest first, with names, by person, and page by page', async () => {
    const mine = await office.get('/settings/audit')
    expect(words(mine)).toMatch(/Odile Ashquay Saw: settings, audit/)
    const [clerk] = (await office.world.deps.access.read.persons.list()).filter(({ login }) => login === 'clerk')
    const hers = words(await office.get(`/settings/audit?actor=${clerk!.id}&from=2026-03-09&to=2026-03-09`))
    expect(hers).toMatch(/Marit Quillon .*refused.* Marit Quillon First password chosen/)
    expect(hers).not.toMatch(/Odile Ashquay Saw/)
    expect(words(await office.get('/settings/audit?to=2026-03-08'))).toContain('No entry fits.')
    const [second] = (await office.world.deps.access.read.audit.list({ limit: 2 })).slice(1)
    const older = await office.get(`/settings/audit?before=${second!.seq}`)
    expect(older.text).toContain('>Newest</a>')
    expect(older.text).not.toContain(`<td>${second!.seq}</td>`)
  })

  it('the record: is found whole, with the mark to be noted', async () => {
    const answer = await office.post('/settings/audit', {})
    const { seq, hash } = await office.world.deps.access.read.audit.head()
    expect(words(answer)).toMatch(/The record is whole\. All [\d,]+ entries follow each other/)
    expect(answer.text).toContain(`${seq}:${hash}`)
  })
})
