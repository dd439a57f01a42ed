import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { readTable } from '../../../src/adapters/schedule/files/read-table.ts'
import type { Feed } from '../../../src/domain/schedule/feed.ts'
import { CONTEXT, FEED, newsOf, onlyNews, onlyRefusal } from '../invented-feed.ts'
import { mutatedText } from '../mutated.ts'

// All tables are invented. How spreadsheets spoil them is common practice, no source, where none is named.
const read = (text: string | Uint8Array, over: Partial<Feed> = {}) => readTable(text, { ...FEED, ...over }, CONTEXT)
const table = (...lines: string[]) => lines.map((line) => `${line}\r\n`).join('')
const bytes = (text: string, encoding: BufferEncoding) => Uint8Array.from(Buffer.from(text, encoding))

const columns = { id: 'Visit', date: 'Date', time: 'Time', name: 'Patient', mobile: 'Mobile', type: 'Type' }

/** When the only row is, as UTC. */
const startOf = (date: string, time: string, over: Partial<Feed> = {}) =>
  onlyNews(read(table('id,date,time', `7,"${date}",${time}`), over)).visit?.startsAt?.toISOString()

describe('a row', () => {
  it('is a visit, in the words of the feed', () => {
    const news = onlyNews(
      read(table('Visit,Date,Time,Patient,Mobile,Type', '0071,2026-03-20,09:00,"Gale, Ines",+1-902-555-0101,PAP'), {
        columns,
      }),
    )
    expect(news).toMatchObject({
      event: 'booked',
      key: { id: '0071', occurrence: '' },
      // The same row of tomorrow's file may say something else: it is no message with an id.
      messageId: '',
      sender: CONTEXT.sender,
      visit: { types: ['PAP'], status: 'booked', startsAt: new Date('2026-03-20T12:00:00Z') },
      patient: { name: 'Gale, Ines', phones: [{ number: '+1-902-555-0101', kind: 'mobile' }] },
    })
  })

  it('tells nothing by an empty cell', () => {
    const { patient, visit } = onlyNews(
      read(table('id,date,time,name,mobile,email,lmp,birthDate,minutes,type', '7,2026-03-20,9:00,,,,,,,')),
    )
    expect(patient).toEqual({ ids: [] })
    expect(visit).toEqual({ startsAt: expect.any(Date), places: [], clinicians: [], types: [], status: 'booked' })
  })

  it('tells of the patient what it has columns for', () => {
    const { patient, visit } = onlyNews(
      read(
        table(
          'id,start,minutes,place,clinician,given,family,phone,email,birthDate,patientId,language,lmp,dueBy',
          '7,2026-03-20 09:00,15,GYN1,d4,Ines,Gale,555-0102,i@skerry.example,1990-05-17,00417,fr,2026-02-20,2026-04-30',
        ),
      ),
    )
    expect(patient).toEqual({
      ids: [{ value: '00417', authority: '', type: '' }],
      name: 'Ines Gale',
      phones: [{ number: '555-0102', kind: 'unknown' }],
      email: 'i@skerry.example',
      birthDate: '1990-05-17',
      language: 'fr',
      lmp: { day: '2026-02-20', toldOn: null },
    })
    expect(visit).toMatchObject({ minutes: 15, places: ['GYN1'], clinicians: ['d4'], dueBy: '2026-04-30' })
  })

  it("has the clinic's own number of the patient, as the feed describes it", () => {
    const patientId = { authority: 'SKERRY', type: 'MR' }
    const { patient } = onlyNews(read(table('id,date,time,patientId', '7,2026-03-20,9:00,00417'), { patientId }))
    expect(patient?.ids).toEqual([{ value: '00417', ...patientId }])
  })

  it('that is bad keeps its number, its fault and its mend; the good ones stay', () => {
    const answers = read(
      table(
        'Visit,Date,Time',
        '1,2026-03-20,09:00',
        ',2026-03-20,09:00',
        '3,soon,09:00',
        '4,2026-02-30,9',
        '5,2026-03-20,10:00',
      ),
      { columns },
    )
    expect(answers).toMatchObject([
      { news: [{ key: { id: '1' } }] },
      { ack: 'AE', at: 'row 3, column "Visit"' },
      { ack: 'AE', at: 'row 4, column "Date"', why: expect.stringContaining('2026-03-20') },
      { ack: 'AE', at: 'row 5, column "Date"' },
      { news: [{ key: { id: '5' } }] },
    ])
  })

  it('has a status that somebody has explained', () => {
    const of = (status: string, statuses: Feed['statuses'] = {}) =>
      read(table('id,date,time,status', `7,2026-03-20,9:00,${status}`), { statuses })
    expect(onlyNews(of('cancelled')).event).toBe('cancelled')
    expect(onlyNews(of('Cancelled')).event).toBe('cancelled')
    expect(onlyNews(of('Abgesagt', { Abgesagt: 'cancelled' })).event).toBe('cancelled')
    expect(onlyNews(of('')).event).toBe('booked')
    expect(onlyRefusal(of('Scheduled')).at).toBe('row 2, column "status"')
    expect(onlyRefusal(of('constructor')).at).toBe('row 2, column "status"')
    expect(of('waitlist')).toEqual([{ row: 2, news: [], doubts: [expect.stringContaining('no booking')] }])
  })

  it('of a patient who does not exist is not for us', () => {
    const of = (name: string) =>
      read(table('id,date,time,name', `7,2026-03-20,9:00,"${name}"`), { testNames: ['ZZTEST'] })
    expect(onlyRefusal(of('zztest, Anna'))).toMatchObject({ ack: 'AR', code: 202, at: 'row 2, column "name"' })
    expect(onlyRefusal(of('Anna ZZTESTER'))).toMatchObject({ ack: 'AR' })
    expect(onlyNews(of('Anna Azztest')).event).toBe('booked')
  })

  it('tells of consent in the words of the feed', () => {
    const consent = { field: 'Texts?', yes: ['Yes', 'Y'] }
    const of = (said: string) => onlyNews(read(table('id,date,time,Texts?', `7,2026-03-20,9:00,${said}`), { consent }))
    expect(['Yes', 'No', ''].map((said) => of(said).visit?.consent)).toEqual([true, false, undefined])
  })

  it('of a visit that another row tells otherwise is for a person, whichever came first', () => {
    const answers = read(table('id,date,time', '7,2026-03-20,9:00', '8,2026-03-20,9:00', '7,2026-03-21,9:00'))
    expect(answers).toMatchObject([{ ack: 'AE' }, { news: [{}] }, { ack: 'AE' }])
    const series = read(table('id,occurrence,date,time', '7,1,2026-03-20,9:00', '7,2,2026-03-21,9:00'))
    expect(newsOf(series).map(({ key }) => key?.occurrence)).toEqual(['1', '2'])
  })

  it('does not take a last period that is still to come', () => {
    const { patient, doubts } = onlyNews(read(table('id,date,time,lmp', '7,2026-03-20,9:00,2026-03-12')))
    expect(patient).not.toHaveProperty('lmp')
    expect(doubts).toEqual([expect.stringContaining('row 2, column "lmp"')])
  })
})

describe('a file', () => {
  // Source: RFC 4180 §2, rules 5 to 7: quotes, line breaks and doubled quotes within.
  it('of RFC 4180', () => {
    const news = onlyNews(read('id,date,time,name\r\n"7","2026-03-20","9:00","Gale, ""Nes""\r\nIngrid"'))
    expect(news.patient?.name).toBe('Gale, "Nes"\r\nIngrid')
  })

  it.each([
    ['semicolons', ';'],
    ['tabs', '\t'],
    ['commas', ','],
    ['bars', '|'],
  ])('cut by %s', (_what, by) => {
    const text = table(['id', 'date', 'time', 'name'].join(by), ['7', '2026-03-20', '9:00', 'Ines'].join(by))
    expect(onlyNews(read(text)).patient?.name).toBe('Ines')
  })

  it('that says by what it is cut', () => {
    expect(onlyNews(read(table('sep=;', 'id;date;time;name', '7;2026-03-20;9:00;Gale, Ines'))).key?.id).toBe('7')
  })

  it.each([
    ['UTF-8', bytes(table('id,date,time,name', '7,2026-03-20,9:00,Zoë'), 'utf8')],
    ['UTF-8 with BOM', bytes(`\ufeff${table('id,date,time,name', '7,2026-03-20,9:00,Zoë')}`, 'utf8')],
    ['UTF-16', bytes(`\ufeff${table('id,date,time,name', '7,2026-03-20,9:00,Zoë')}`, 'utf16le')],
    ['Windows-1252', bytes(table('id,date,time,name', '7,2026-03-20,9:00,Zoë'), 'latin1')],
  ])('in %s', (_what, file) => {
    expect(onlyNews(read(file)).patient?.name).toBe('Zoë')
    expect(onlyNews(read(file, { charset: 'no such thing' })).patient?.name).toBe('Zoë')
  })

  it('may have a title, blank rows, its header again and totals', () => {
    const answers = read(
      table(
        'Skerry Isles Hospital',
        '',
        'id,date,time',
        '7,2026-03-20,9:00',
        ',,',
        'ID,Date,Time',
        '8,2026-03-20,9:30',
        'Total,2,',
      ),
    )
    expect(newsOf(answers).map(({ key }) => key?.id)).toEqual(['7', '8'])
    expect(answers.at(-1)).toEqual({ row: 8, news: [], doubts: ['row 8: a row of totals, passed over.'] })
  })

  it.each([
    ['nothing', ''],
    ['no header', '7,2026-03-20,9:00\r\n'],
    ['no date', table('id,time', '7,9:00')],
    ['binary', '\u0000\u0001\u0002'],
  ])('with %s is refused, with what is needed', (_what, text) => {
    expect(onlyRefusal(read(text))).toMatchObject({ ack: 'AR', why: expect.stringContaining('"id"') })
  })

  it('with two columns of one name is refused', () => {
    expect(onlyRefusal(read(table('id,date,date,time', '7,2026-03-20,2026-03-21,9:00'))).at).toBe(
      'row 1, column "date"',
    )
  })

  it('with a quotation mark that is never closed keeps what precedes it', () => {
    const answers = read('id,date,time\r\n7,2026-03-20,9:00\r\n8,2026-03-20,"9:30\r\n9,2026-03-20,10:00\r\n')
    expect(answers).toMatchObject([{ news: [{ key: { id: '7' } }] }, { ack: 'AE', at: 'row 3' }])
  })

  it('keeps zeros that are written as a formula, and knows numbers that were shortened', () => {
    expect(onlyNews(read(table('id,date,time', '"=""0071""",2026-03-20,9:00'))).key?.id).toBe('0071')
    expect(onlyRefusal(read(table('id,date,time', '1.23E+05,2026-03-20,9:00'))).at).toBe('row 2, column "id"')
  })
})

describe('a date', () => {
  it.each(['2026-03-20', '20260320', '2026/03/20', '20/03/2026', '20.3.2026', '20-03-26', '3/20/2026', '20 Mar 2026'])(
    '%s',
    (date) => {
      expect(startOf(date, '09:00')).toBe('2026-03-20T12:00:00.000Z')
    },
  )

  // Source: Microsoft's help on DATE in Excel: 39448 is 2008-01-01. 46101 is 6653 days later.
  it('counted in days, as Excel keeps it, and a time as a part of one', () => {
    expect(startOf('39448', '0.375')).toBe('2008-01-01T13:00:00.000Z')
    expect(startOf('46101', '0.375')).toBe('2026-03-20T12:00:00.000Z')
    expect(onlyNews(read(table('id,start', '7,46101.375'))).visit?.startsAt).toEqual(new Date('2026-03-20T12:00:00Z'))
  })

  it('is read by a column that leaves no doubt', () => {
    const rows = (...dates: string[]) => table('id,date,time', ...dates.map((date, index) => `${index},${date},9:00`))
    const days = (text: string, over: Partial<Feed> = {}) =>
      newsOf(read(text, over)).map(({ visit }) => visit?.startsAt?.toISOString().slice(0, 10))
    expect(days(rows('03/04/2026', '13/04/2026'))).toEqual(['2026-04-03', '2026-04-13'])
    expect(days(rows('03/04/2026', '04/13/2026'))).toEqual(['2026-03-04', '2026-04-13'])
    expect(days(rows('03/04/2026'), { dateOrder: 'day-month' })).toEqual(['2026-04-03'])
    expect(days(rows('03/04/2026'), { dateOrder: 'month-day' })).toEqual(['2026-03-04'])
    expect(days(rows('04/04/2026'))).toEqual(['2026-04-04'])
  })

  it.each([
    ['leaves it open', ['03/04/2026', '05/06/2026'], null],
    ['says both', ['13/04/2026', '04/13/2026'], null],
    ['says the other than the feed', ['03/04/2026', '04/13/2026'], 'day-month' as const],
  ])('of a file that %s is not guessed', (_what, dates, dateOrder) => {
    const text = table('id,date,time', ...dates.map((date, index) => `${index},${date},9:00`))
    const refused = onlyRefusal(read(text, { dateOrder }))
    expect(refused).toMatchObject({ ack: 'AR', at: expect.stringMatching(/^row \d, column "date"$/) })
    expect(refused.why).toContain('YYYY-MM-DD')
  })

  it('of birth with two digits of the year is not guessed', () => {
    const { patient, doubts } = onlyNews(read(table('id,date,time,birthDate', '7,20/03/2026,9:00,17/05/26')))
    expect(patient).not.toHaveProperty('birthDate')
    expect(doubts).toHaveLength(1)
  })
})

describe('a time of day', () => {
  it.each([
    ['9:00', '12:00'],
    ['09:00', '12:00'],
    ['9:00 am', '12:00'],
    ['9:00 AM', '12:00'],
    ['9 a.m.', '12:00'],
    ['09:00:00', '12:00'],
    ['1:30 pm', '16:30'],
    ['12:00 pm', '15:00'],
    ['12:15 am', '03:15'],
    ['13:30', '16:30'],
  ])('%s is %s in UTC', (time, utc) => {
    expect(startOf('2026-03-20', time)).toBe(`2026-03-20T${utc}:00.000Z`)
  })

  it.each(['', '9', '25:00', '9:60', '13:00 pm', '1:30', 'noon'])('%s is none, or leaves a doubt', (time) => {
    expect(onlyRefusal(read(table('id,date,time', `7,2026-03-20,${time}`))).at).toBe('row 2, column "time"')
  })

  it('with an offset is an instant', () => {
    expect(onlyNews(read(table('id,start', '7,2026-03-20T09:00:00-04:00'))).visit?.startsAt).toEqual(
      new Date('2026-03-20T13:00:00Z'),
    )
  })

  it("is that of the clinic's own zone", () => {
    const context = { ...CONTEXT, zones: { ridge: 'America/St_Johns' } }
    const rows = table('id,date,time,place', '7,2026-03-20,9:00,RDG', '8,2026-03-20,9:00,GYN1')
    const at = newsOf(readTable(rows, FEED, context)).map(({ visit }) => visit?.startsAt?.toISOString().slice(11, 16))
    expect(at).toEqual(['11:30', '12:00'])
  })

  // Source: RFC 5545 §3.3.5 for times that the clocks skip or repeat; the days of 2026 from the IANA zone database.
  it('that the clocks skip or repeat is read by rule, with a doubt', () => {
    const rows = table('id,date,time', '7,2026-03-08,02:30', '8,2026-11-01,01:30')
    const news = newsOf(read(rows))
    expect(news.map(({ visit }) => visit?.startsAt?.toISOString())).toEqual([
      '2026-03-08T06:30:00.000Z',
      '2026-11-01T04:30:00.000Z',
    ])
    expect(news.map(({ doubts }) => doubts.length)).toEqual([1, 1])
  })
})

describe('a telephone number', () => {
  it('a digit shorter than those with a leading zero has lost its own', () => {
    const rows = table('id,date,time,mobile', '7,2026-03-20,9:00,07700 900101', '8,2026-03-20,9:30,7700900102')
    expect(newsOf(read(rows)).map(({ doubts }) => doubts)).toEqual([[], [expect.stringContaining('leading zero')]])
  })

  it('that was shortened to 9.03E+09 is not taken', () => {
    const { patient, doubts } = onlyNews(read(table('id,date,time,mobile', '7,2026-03-20,9:00,9.02556E+09')))
    expect(patient).not.toHaveProperty('phones')
    expect(doubts).toEqual([expect.stringContaining('row 2, column "mobile"')])
  })
})

it('whatever the file holds is answered, never thrown at', () => {
  const whole = table(
    'id,date,time,minutes,place,type,status,name,mobile,birthDate,lmp',
    '7,20/03/2026,9:00,15,GYN1,PAP,booked,"Gale, Ines",+1-902-555-0101,17/05/1990,20/02/2026',
    '8,2026-03-20,9:30 am,,RDG,HPVC,,"Runa ""R"" Holm",555-0102,,',
    'Total,2,,,,,,,,,',
  )
  let booked = 0
  fc.assert(
    fc.property(mutatedText([whole, whole.replaceAll(',', ';')]), (text) => {
      for (const answer of read(text)) {
        if (!('news' in answer)) continue
        for (const { key, visit } of answer.news) {
          expect(key?.id).toMatch(/./)
          expect(visit?.startsAt?.getTime()).toBeGreaterThan(-Infinity)
          booked++
        }
      }
      read(Uint8Array.from(Buffer.from(text, 'latin1')))
    }),
    { numRuns: 3_000 },
  )
  expect(booked).toBeGreaterThan(1_000)
})
