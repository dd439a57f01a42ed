import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { DESK, openReception, pageText, postForm, type Reception } from './reception.ts'

let desk: Reception
beforeAll(async () => {
  desk = await openReception()
})
afterAll(() => desk.close())

const get = (path: string) => fetch(desk.base + path)
const text = (path: string) => pageText(desk.base, DESK + path)
const post = (path: string, fields: Record<string, string | string[]>, headers?: Record<string, string>) =>
  postForm(desk.base, DESK + path, fields, headers)
const booking = (changes: Record<string, string> = {}) => ({
  phone: '782 555 0160',
  name: 'Halyna Brandle',
  lmp: '2026-03-02',
  sure: '0',
  usual: '28',
  date: '2026-03-17',
  time: '10:00',
  protocol: 'liquid-based-cytology',
  language: 'en',
  channel: 'sms',
  detail: 'full',
  consent: 'yes',
  key: `key-${Math.trunc(performance.now() * 1e6)}`,
  ...changes,
})
const visitOf = (response: Response) => response.headers.get('location')!.split('/').at(-1)!.split('?')[0]!
const PAGES = [
  '/bookings',
  '/book',
  '/calls',
  '/replies',
  '/openings',
  '/feeds',
  '/day-sheet',
  '/prints',
  '/near-misses',
  '/texts',
  '/service',
]

describe('every page', () => {
  it.each(PAGES)('%s carries the caution, its zone, no patient in its title, and may not be kept', async (path) => {
    const response = await get(DESK + path)
    const body = await response.text()
    expect(response.status).toBe(200)
    expect(response.headers.get('cache-control')).toBe('no-store')
    expect(response.headers.get('content-security-policy')).toMatch(/script-src 'self'(;|$)/)
    expect(body).toMatch(/avoid or plan a pregnancy|never for contraception/)
    expect(body).toContain('America/Halifax')
    expect(/<title>(.*)<\/title>/.exec(body)![1]).not.toMatch(/Quillon|Brandle|Skerrow|Tarnley|Ashquay/)
    // Neither styles nor scripts within the page: the policy would block them.
    expect(body).not.toMatch(/<style|\sstyle="|\son\w+="|<script>/)
  })

  it.each(['/book', '/calls', '/day-sheet', '/texts'])(
    '%s, which shows preparation, says what prevails over it',
    async (path) => {
      expect(await text(path)).toMatch(
        /own protocol, licensed practice and the laboratory's directory prevail|own protocol, licensed practice and the laboratory&#39;s directory prevail/,
      )
    },
  )

  it('answers an unknown clinic, visit or page with a page that leads back', async () => {
    for (const path of ['/desk/nowhere/bookings', `${DESK}/visits/b_nothing`, `${DESK}/nothing`]) {
      const response = await get(path)
      expect(response.status).toBe(404)
      expect(response.headers.get('content-type')).toMatch(/html/)
      expect(await response.text()).toContain('href="/desk"')
    }
  })

  it('is linked from the start page', async () => expect(await (await get('/')).text()).toContain('href="/desk"'))
})

describe('forms', () => {
  it.each([
    ['another site, as browsers say', { 'Sec-Fetch-Site': 'cross-site' }],
    ['another part of the same site', { 'Sec-Fetch-Site': 'same-site' }],
    ['another origin', { Origin: 'https://evil.example' }],
    ['an origin that is none', { Origin: 'null' }],
    ['nobody who says where he comes from', {}],
  ])('from %s are refused', async (_from, headers) => {
    const before = (await desk.world.deps.store.read.bookings.list({ limit: 200 })).length
    expect((await post('/book', booking(), headers as Record<string, string>)).status).toBe(401)
    expect((await desk.world.deps.store.read.bookings.list({ limit: 200 })).length).toBe(before)
  })

  it('from our own origin are taken by browsers without fetch metadata', async () => {
    expect((await post('/find', { q: 'marit' }, { Origin: desk.base })).status).toBe(200)
  })
})

describe('bookings', () => {
  it('show time, patient, likely cycle day, timing, preparation and what is open', async () => {
    const words = await text('/bookings')
    expect(words).toMatch(/11:20 Marit Quillon \+1 782 555 0110 Well timed , about day 13/)
    expect(words).toMatch(/Isaura Skerrow .*?Days to avoid/)
    expect(words).toMatch(/Brenna Tarnley .*?Not told by text: call No consent/)
  })

  it('begin at the day that was chosen, and say when there are none', async () => {
    expect(await text('/bookings?from=2026-03-31')).not.toContain('Marit')
    expect(await text('/bookings?from=2026-08-01')).toMatch(/No visits from Saturday 1 August on/)
    expect((await get(`${DESK}/bookings?from=nonsense&after=nonsense`)).status).toBe(200)
  })

  it.each([
    ['beginnings of her names', 'bra corisande', 'Corisande Brandle-Skerrow'],
    ['her number as she says it', '(782) 555-0112', 'Isaura Skerrow'],
    ['its last four digits', '0110', 'Marit Quillon'],
  ])('are found by %s', async (_by, q, name) => {
    const words = (await (await post('/find', { q })).text()).replaceAll(/<[^>]+>/g, ' ')
    expect(words).toContain(name)
  })

  it('are not found by what nobody is called', async () => {
    for (const q of ['zebra', 'ma', '', "'; drop table patient; --"])
      expect(await (await post('/find', { q })).text()).toContain('Nobody found')
  })

  it('are found without any name being readable in the database', async () => {
    const { rows } = await desk.world.composed.database.records.query(`select unnest(words) as print from patient`)
    expect(rows.length).toBeGreaterThan(50)
    expect(JSON.stringify(rows)).not.toMatch(/marit|quillon|skerrow|0110/i)
  })
})

describe('booking a visit', () => {
  it('says what is missing beside each field and loses nothing that was typed', async () => {
    const response = await post('/book', booking({ name: '', lmp: '', time: '', usual: '7' }))
    const body = await response.text()
    expect(response.status).toBe(422)
    for (const name of ['name', 'lmp', 'time', 'usual'])
      expect(body).toMatch(new RegExp(`id="${name}"[^>]*aria-invalid="true"[^>]*aria-describedby="${name}-fault`))
    expect(body).toContain('value="782 555 0160"')
    expect(body).toContain('value="17 Mar 2026"')
    expect(body).toMatch(/name="consent"[^>]* checked/)
  })

  it.each([
    ['a number that is none', { phone: '12' }, 'phone'],
    ['a visit in the past', { date: '2026-03-01' }, 'time'],
    ['a period in the future', { lmp: '2026-04-20' }, 'lmp'],
    ['a time that the clocks skip', { date: '2027-03-14', time: '02:30' }, 'time'],
  ])('refuses %s beside the field', async (_what, changes, name) => {
    const response = await post('/book', booking(changes))
    expect([409, 422]).toContain(response.status)
    expect(await response.text()).toMatch(new RegExp(`id="${name}-fault"`))
  })

  it('shows the weeks, better openings and the texts with their cost before anything is booked', async () => {
    const before = (await desk.world.deps.store.read.bookings.list({ limit: 200 })).length
    const words = (await (await post('/book/look', booking({ date: '2026-03-31', name: '' }))).text())
      .replaceAll(/<[^>]+>/g, ' ')
      .replaceAll(/\s+/g, ' ')
    expect(words).toMatch(/Move: the next period is expected/)
    expect(words).toMatch(/Better openings: \w{3} \d+ \w{3}, \d\d:\d\d/)
    expect(words).toMatch(/Preparation \w{3} 28 Mar, 18:00 Harbour Clinic: .* 1 text/)
    expect(words).toMatch(/Together 4 texts/)
    expect((await desk.world.deps.store.read.bookings.list({ limit: 200 })).length).toBe(before)
  })

  it('previews exactly the texts that are then planned', async () => {
    const wanted = booking({ date: '2026-04-14', time: '11:00', phone: '782 555 0161', name: 'Odile Preview' })
    const preview = await (await post('/book/look', wanted)).text()
    const id = visitOf(await post('/book', wanted))
    const planned = await desk.world.deps.store.read.messages.ofBooking(id)
    const shown = [...preview.matchAll(/<li><b>[^<]*<\/b> <time\s+datetime="([^"]+)"/g)].map(([, at]) => at)
    expect(shown).toEqual(planned.map(({ sendAt }) => sendAt.toISOString()))
  })

  it('picks an opening into the form', async () => {
    const body = await (
      await post('/book/look', { ...booking({ date: '2026-03-31' }), pick: '2026-03-17T09:20|room 2' })
    ).text()
    expect(body).toMatch(/name="date" value="17 Mar 2026"/)
    expect(body).toMatch(/name="time" value="09:20"/)
    expect(body).toMatch(/name="clinician" value="room 2"/)
  })

  it('books once, however often the button is pressed', async () => {
    const wanted = booking({ date: '2026-03-18', time: '09:10', phone: '782 555 0162', name: 'Perpetua Twice' })
    const answers = await Promise.all([1, 2, 3].map(() => post('/book', wanted)))
    expect(new Set(answers.map((answer) => `${answer.status} ${visitOf(answer)}`)).size).toBe(1)
  })

  it('gives one time to one of two clerks and tells the other beside the field', async () => {
    const at = { date: '2026-03-19', time: '09:00' }
    const answers = await Promise.all(
      [
        booking({ ...at, phone: '782 555 0163', name: 'Tova First' }),
        booking({ ...at, phone: '782 555 0164', name: 'Tova Second' }),
      ].map((each) => post('/book', each)),
    )
    expect(answers.map(({ status }) => status).sort()).toEqual([303, 409])
    const lost = await answers.find(({ status }) => status === 409)!.text()
    expect(lost).toMatch(/id="time-fault">For some of this time the clinician is busy/)
    expect(lost).toMatch(/value="Tova (First|Second)"/)
  })

  it('puts a name with signs into the page as text', async () => {
    const id = visitOf(
      await post(
        '/book',
        booking({
          date: '2026-03-18',
          time: '13:00',
          phone: '782 555 0165',
          name: `<img src=x onerror="alert(1)"> 'Q'`,
        }),
      ),
    )
    const body = await (await get(`${DESK}/visits/${id}`)).text()
    expect(body).toContain('&lt;img src=x')
    expect(body).not.toContain('<img')
  })
})

describe("the patient's page", () => {
  it('is shown and texted from the visit, to whoever has the usual texts too', async () => {
    const page = `/visits/${desk.ids[7]}`
    const { booking, phone } = await desk.world.deps.store.read.bookings.get(desk.ids[7]!).then(async (found) => ({
      booking: found!,
      phone: (await desk.world.deps.store.read.patients.get(found!.patientId))!.phone,
    }))
    const address = desk.world.deps.pageOf(booking.id, phone)
    expect(await text(page)).toContain(address)
    expect((await post(`${page}/page`, {})).headers.get('location')).toMatch(/said=page-sent/)
    await desk.world.clock.moveTo(new Date(desk.world.clock.now().getTime() + 60_000))
    expect(desk.world.textsTo(phone).at(-1)).toBe(`Harbour Clinic: You can read about your visit here: ${address}`)
  })

  it('is not texted to whoever agreed to no messages', async () => {
    expect((await post(`/visits/${desk.ids[3]}/page`, {})).status).toBe(409)
  })
})

describe('a cancelled visit', () => {
  it('says nothing of preparation, and leads to another one', async () => {
    const { booking } = await desk.world.book({ visit: '2026-05-20T09:20', name: 'Tova Off', phone: '782 555 0171' })
    await post(`/visits/${booking.id}/cancel`, {})
    const words = await text(`/visits/${booking.id}?said=cancelled`)
    expect(words).toMatch(/The patient is told, if the patient agreed to messages\./)
    expect(words).toMatch(/Book another visit/)
    expect(words).not.toMatch(/Not told by text|Will be told/)
  })
})

describe('the day sheet', () => {
  it('lists a day with cycle days, preparation, what to ask, the checklist and what to send when', async () => {
    const words = await text('/day-sheet?date=2026-03-10')
    expect(words).toMatch(/Tuesday 10 March 2026 Harbour Clinic\. 1 visit/)
    expect(words).toMatch(
      /09:00 10 min Isaura Skerrow about day 3 Days to avoid LMP 8 Mar .*Short notice.*Bleeding today\?/,
    )
    expect(words).toContain("Check the vial's date, and open it by its maker's directions.".replaceAll("'", '&#39;'))
    expect(words).toContain('Send with the next transport.')
    // How long a specimen keeps is no deadline to send it.
    expect(words).not.toMatch(/send by|laboratory limit/i)
  })

  it('names the laboratory limit where the site has set one, with its source', async () => {
    const { protocols } = desk.world.composed.deps
    const cytology = protocols.get('liquid-based-cytology')!
    const before = cytology.vial
    cytology.vial = { medium: 'the blue vial', keepsDays: 21, source: 'Our laboratory 2026' }
    const words = await text('/day-sheet?date=2026-03-10')
    cytology.vial = before
    const limit = 'laboratory limit for the blue vial 21 days from collection to processing (Our laboratory 2026)'
    expect(words).toContain(`Send with the next transport; ${limit}.`)
  })

  it('says when there is nobody, and reads a date that is none as today', async () => {
    expect(await text('/day-sheet?date=2026-03-14')).toContain('No visits on this day.')
    expect(await text('/day-sheet?date=2026-02-31')).toContain('Monday 9 March 2026')
  })
})

describe('openings', () => {
  it('are added many at once, are shown by the week, and a day is closed but for what is held or booked', async () => {
    const wanted = {
      from: '2026-05-04',
      to: '2026-05-10',
      weekdays: ['2', '4'],
      first: '09:00',
      until: '10:00',
      every: '20',
      clinician: '',
    }
    expect((await post('/openings', wanted)).headers.get('location')).toMatch(/said=openings-added/)
    expect((await post('/openings', wanted)).headers.get('location')).toMatch(/said=openings-known/)
    await desk.world.book({ visit: '2026-05-05T09:20', name: 'Sunniva Holder', phone: '782 555 0170' })
    await post('/openings/close', { date: '2026-05-05' })
    const words = await text('/openings?week=2026-05-04')
    expect(words).toMatch(/Tue 5 May ● 09:20 booked until 09:30 Wed 6 May – Thu 7 May ○ 09:00 × ○ 09:20 × ○ 09:40/)
  })

  it('refuse a series that comes to nothing, beside the field, with everything as typed', async () => {
    const response = await post('/openings', {
      from: '2026-05-04',
      to: '2026-05-04',
      weekdays: ['7'],
      first: '09:00',
      until: '10:00',
      every: '20',
      clinician: 'room 9',
    })
    const body = await response.text()
    expect(response.status).toBe(422)
    expect(body).toContain('id="s-weekdays-fault"')
    expect(body).toContain('value="room 9"')
  })
})

describe('the service page', () => {
  it('shows figures and nobody', async () => {
    await desk.world.reply('+17825550116', 'STOP')
    const words = await text('/service')
    expect(words).toMatch(/Numbers that want no messages 1 /)
    expect(words).toMatch(/pocket sms, voice, email Yes/)
    expect(words).not.toMatch(/Quillon|Brandle|Skerrow|555/)
  })
})

describe('the texts page', () => {
  it('shows each language and approves nothing that was not read', async () => {
    expect(await text('/texts')).toMatch(/English 2\d\d None .*Français/)
    const response = await post('/texts', { language: 'fr', by: 'Nurse educator, French', kind: 'prep' })
    expect(response.status).toBe(422)
    expect(await response.text()).toContain('Read the contact sheet first')
  })

  it('opens the contact sheet of a language', async () => {
    const sheet = await (await get(`${DESK}/texts/sheet?lang=fr`)).text()
    expect(sheet).toContain('lang="fr-CA"')
    expect(sheet).toContain('Harbour Clinic')
  })
})

describe('live updates', () => {
  it('tell an open page of a change, and end when the service stops', async () => {
    const response = await get('/desk/events')
    expect(response.headers.get('content-type')).toMatch(/^text\/event-stream/)
    const reader = response.body!.pipeThrough(new TextDecoderStream()).getReader()
    let heard = (await reader.read()).value ?? ''
    desk.world.deps.notice('booked', { booking: 'b_1' })
    desk.world.deps.notice('moved', { booking: 'b_1' })
    while (!heard.includes('event: news')) heard += (await reader.read()).value ?? ''
    expect(heard.match(/event: news/g)).toHaveLength(1)
    expect(heard).not.toContain('b_1')
    desk.world.composed.news.close()
    expect((await reader.read()).done).toBe(true)
  })
})
