import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { readFeed } from '../../src/adapters/schedule/feed-file.ts'
import { readFhir, readNdjson } from '../../src/adapters/schedule/fhir/read-fhir.ts'
import { readAny } from '../../src/adapters/schedule/read-any.ts'
import { checkAll } from '../../src/domain/schedule/check-all.ts'
import { readTable } from '../../src/adapters/schedule/files/read-table.ts'
import type { MessageRead } from '../../src/domain/schedule/feed.ts'
import { CONTEXT as INVENTED, newsOf } from './invented-feed.ts'

const file = (name: string) => readFileSync(new URL(`../../demo/schedule/${name}`, import.meta.url))
const feed = (name: string) =>
  readFeed(file(name).toString('utf8'), name, {
    protocols: new Set(['liquid-based-cytology', 'clinician-hpv']),
    languages: new Set(['en', 'es', 'fr', 'pa', 'uk']),
  })

/** HL7 table 0357: a patient who does not exist. */
const TEST = 202

/** The end of the invented week, when all of it has happened. */
const CONTEXT = { ...INVENTED, now: new Date('2026-03-14T12:00:00Z') }

/** What holds of each visit, in the words that every format has. */
function visits(read: readonly MessageRead[]) {
  return newsOf(read.filter((one) => !('ack' in one && one.code === TEST)))
    .filter(({ key }) => key !== null)
    .map(({ key, event, visit, patient }) => ({
      id: key?.id,
      event,
      at: visit?.startsAt?.toISOString(),
      minutes: visit?.minutes,
      place: visit?.places[0],
      clinician: visit?.clinicians[0],
      type: visit?.types[0],
      record: patient?.ids[0]?.value,
      name: patient?.name,
      phones: patient?.phones?.map(({ number, kind }) => `${kind} ${number.replace(/^\+1-/, '')}`),
      email: patient?.email,
      born: patient?.birthDate,
      language: patient?.language,
    }))
}

/** What is booked here in the end, as far as every form can say it. */
function booked(feedFile: string, name: string) {
  const read = readAny(file(name), name, feed(feedFile), CONTEXT)
  const { known } = checkAll(read, feed(feedFile), null)
  return [...known.applied.entries()]
    .map(([key, { patient, startsAt, minutes, clinic, clinician, protocol }]) => ({
      ...{ id: key.split('^')[0]!, clinic, clinician, protocol, minutes, at: startsAt.toISOString() },
      ...{
        name: patient.name,
        phone: patient.phone.replace(/^\+1/, '').replaceAll(/\D/g, ''),
        language: patient.language,
      },
    }))
    .sort((a, b) => (a.id < b.id ? -1 : 1))
}

describe("the invented hospital's week", () => {
  it.each([
    ['a table', 'skerry.yaml', 'week.csv'],
    ['a bundle of FHIR', 'skerry-fhir.yaml', 'week.bundle.json'],
    ['lines of FHIR', 'skerry-fhir.yaml', 'week.ndjson'],
    ['a calendar', 'skerry-calendar.yaml', 'week.ics'],
  ])('ends in the same bookings as %s as it does as messages of HL7 v2', (_what, description, name) => {
    const messages = booked('skerry.yaml', 'week.hl7')
    expect(messages.map(({ id }) => id)).toEqual(['F2002', 'F2003', 'F2006', 'F2008', 'F2009'])
    expect(booked(description, name)).toEqual(messages)
  })

  const table = visits(readTable(file('week.csv'), feed('skerry.yaml'), CONTEXT))
  const fhir = feed('skerry-fhir.yaml')
  const bundle = readFhir(JSON.parse(file('week.bundle.json').toString('utf8')), fhir, CONTEXT)
  const lines = readNdjson(file('week.ndjson').toString('utf8'), fhir, CONTEXT)

  it('is ten visits and a test: seven booked, one missed, one cancelled, one that never was', () => {
    expect(table.map(({ id, event }) => `${id} ${event}`)).toEqual([
      'F2001 no-show',
      ...['F2002 booked', 'F2003 booked', 'F2004 booked', 'F2005 booked', 'F2006 booked'],
      'F2007 cancelled',
      ...['F2008 booked', 'F2009 booked'],
      'F2011 entered-in-error',
    ])
    expect(table[1]).toEqual({
      id: 'F2002',
      event: 'booked',
      at: '2026-03-12T17:00:00.000Z',
      minutes: 20,
      place: 'RDG',
      clinician: 'N21',
      type: 'HPVC',
      record: '007502',
      name: 'Rosa Quillfeather',
      phones: ['mobile 902-555-0117'],
      email: 'rosa@mail.example',
      born: '1985-02-19',
      language: 'en',
    })
  })

  it('is the same as a table, as a bundle and as lines', () => {
    expect(visits(bundle)).toEqual(table)
    expect(visits(lines)).toEqual(table)
  })

  it.each([
    ['bundle', bundle],
    ['lines', lines],
  ])('as %s tells also of a period, of records that became one and of a closed morning', (_what, read) => {
    const news = newsOf(read.filter((one) => !('ack' in one)))
    expect(news.filter(({ patient }) => patient?.lmp).map(({ patient }) => patient?.lmp)).toEqual([
      { day: '2026-02-21', toldOn: '2026-03-03' },
    ])
    expect(news.filter(({ mergedIds }) => mergedIds).map(({ mergedIds }) => mergedIds?.[0]?.value)).toEqual(['000199'])
    expect(news.filter(({ event }) => event === 'times-closed').map(({ times }) => times)).toEqual([
      [
        {
          from: new Date('2026-03-12T11:00:00Z'),
          to: new Date('2026-03-12T15:00:00Z'),
          place: 'GYN1',
          clinician: 'N17',
        },
      ],
    ])
  })
})

it('a table that comes again the next day, with one row changed, moves that visit and no other', () => {
  const table = file('week.csv').toString('utf8')
  const next = table.replace('F2006,2026-03-11,14:00', 'F2006,2026-03-13,15:00')
  const read = [table, next].flatMap((text) => readTable(text, feed('skerry.yaml'), CONTEXT))
  const { lines } = checkAll(read, feed('skerry.yaml'), new Date('2026-03-04T12:00:00Z'))
  const again = lines.slice(lines.length / 2).filter(({ does }) => does !== 'nothing' && does !== 'refuse')
  expect(again).toMatchObject([{ does: 'move', key: expect.stringMatching(/^F2006/), visit: '2026-03-13T15:00-03:00' }])
})
