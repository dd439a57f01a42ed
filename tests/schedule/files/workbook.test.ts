import { spawnSync } from 'node:child_process'
import { readFileSync } from 'node:fs'
import { zipSync } from 'fflate'
import { describe, expect, it } from 'vitest'
import { sheetOf } from '../../../src/adapters/schedule/files/workbook.ts'
import { readAny, readFileOf } from '../../../src/adapters/schedule/read-any.ts'
import { readFeed } from '../../../src/adapters/schedule/feed-file.ts'
import { present } from '../../gateways/peers/programs.ts'
import { CONTEXT } from '../invented-feed.ts'

// Workbooks are written by python3-openpyxl, which shares no code with the reader.
const PYTHON = '/usr/bin/python3'
const demo = (name: string) => readFileSync(new URL(`../../../demo/schedule/${name}`, import.meta.url))
const known = {
  protocols: new Set(['liquid-based-cytology', 'clinician-hpv']),
  languages: new Set(['en', 'es', 'fr', 'pa', 'uk']),
}
const FEED = readFeed(demo('skerry.yaml').toString('utf8'), 'skerry.yaml', known)

/** Dates and times as a spreadsheet has them: numbers with a format. */
const WRITE = `
import csv, sys, io, datetime, openpyxl
book = openpyxl.Workbook()
sheet = book.active
for number, row in enumerate(csv.reader(io.TextIOWrapper(sys.stdin.buffer, 'utf-8-sig'))):
    if number and row:
        row[1] = datetime.datetime.strptime(row[1], '%Y-%m-%d').date()
        row[2] = datetime.datetime.strptime(row[2], '%H:%M').time()
        row[3] = int(row[3]) if row[3] else None
    sheet.append(row)
book.save(sys.stdout.buffer)
`
const workbookOf = (csv: Uint8Array) => spawnSync(PYTHON, ['-c', WRITE], { input: csv, maxBuffer: 1e8 }).stdout

describe.skipIf(!present(PYTHON, ['-c', 'import openpyxl']))('a workbook', () => {
  it('says the same as the table that it was made of', async () => {
    const csv = demo('week.csv')
    const book = workbookOf(csv)
    expect(book.length).toBeGreaterThan(1000)
    const news = await readFileOf(book, 'week.xlsx', FEED, { ...CONTEXT, sender: 'week.csv' })
    expect(news.length).toBeGreaterThan(5)
    expect(news).toEqual(readAny(csv, 'week.csv', FEED, { ...CONTEXT, sender: 'week.csv' }))
  })

  it('that is far larger unpacked than any list, or none at all, is refused in words', async () => {
    const bomb = zipSync({ 'xl/worksheets/sheet1.xml': new Uint8Array(70 * 1024 * 1024) })
    expect(bomb.length).toBeLessThan(200_000)
    expect(await sheetOf(bomb)).toMatchObject({ ack: 'AE', why: expect.stringContaining('far larger') })
    const other = zipSync({ 'a.txt': new TextEncoder().encode('hello') })
    expect(await sheetOf(other)).toMatchObject({ ack: 'AE', why: expect.stringContaining('no workbook') })
    const half = workbookOf(demo('week.csv')).subarray(0, 900)
    expect(await sheetOf(half)).toMatchObject({ ack: 'AE' })
  })
})
