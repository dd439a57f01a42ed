import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { splitMessages, frame } from '../../src/adapters/schedule/hl7/mllp.ts'
import type { CheckLine } from '../../src/domain/schedule/check-line.ts'
import { daysix, expectPlain, type Ended } from '../ops/plain-end.ts'

const FEED = 'demo/schedule/skerry.yaml'
const folder = mkdtempSync(join(tmpdir(), 'daysix-feed-'))
afterAll(() => rmSync(folder, { recursive: true }))

const linesOf = ({ stdout }: Ended) =>
  stdout
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as CheckLine)
const kept = (name: string, content: string | Uint8Array) => {
  writeFileSync(join(folder, name), content)
  return join(folder, name)
}

describe('daysix feed-check', () => {
  it('says of every message what it would do, and of the whole how often; 2 where one was not accepted', async () => {
    const ended = await daysix(['feed-check', FEED, 'demo/schedule/week.hl7'], {})
    const lines = linesOf(ended)
    expect(lines.map(({ n }) => n)).toEqual(Array.from({ length: 21 }, (_, index) => index + 1))
    expect(lines[0]).toEqual({
      ...{ n: 1, does: 'book', visit: '2026-03-10T10:30-03:00', key: 'F2001^SKERRY' },
      ...{ why: 'Nothing is sent until consent is recorded.', ack: 'AA' },
    })
    expect(ended.stderr).toContain('7 book')
    expect(ended.code).toBe(2)
    // What the lines tell is for whoever sets a feed up: no patient is in them.
    expect(ended.stdout + ended.stderr).not.toMatch(/Mabel|Tarnbrook|555|007431/)
  })

  it('reads the same from frames as they come over the line', async () => {
    const framed = splitMessages(readFileSync('demo/schedule/week.hl7')).map((one) =>
      'frame' in one ? frame(one.frame) : [],
    )
    const file = kept('week.mllp', Buffer.concat(framed.map((each) => Uint8Array.from(each))))
    expect((await daysix(['feed-check', FEED, file], {})).stdout).toBe(
      (await daysix(['feed-check', FEED, 'demo/schedule/week.hl7'], {})).stdout,
    )
  })

  it('always comes to the same for a file that tells no moments, whatever day it is', async () => {
    const lines = linesOf(await daysix(['feed-check', FEED, 'demo/schedule/week.csv'], {}))
    expect(lines.filter(({ does }) => does === 'book')).toHaveLength(5)
    const later = await daysix(['feed-check', '--at', '2026-03-12T12:00:00Z', FEED, 'demo/schedule/week.csv'], {})
    expect(linesOf(later).filter(({ why }) => why?.startsWith('The visit is over.'))).toHaveLength(2)
  })

  it.each([
    ['an empty file', 'empty.hl7', '', /"does":"refuse"|There is no message/],
    ['heaps of bytes', 'noise.hl7', Uint8Array.from({ length: 3000 }, (_, n) => (n * 7919) % 251), /"does":"refuse"/],
    ['a workbook', 'week.xlsx', Uint8Array.from([0x50, 0x4b, 3, 4, 0, 0]), /Save the sheet as XLSX or CSV/],
  ])('answers %s in words', async (_what, name, content, words) => {
    const { stdout, stderr } = await daysix(['feed-check', FEED, kept(name, content)], {})
    expect(stdout + stderr).toMatch(words)
    expect(stderr).not.toMatch(/^\s+at /m)
  })

  it('refuses a description or a file that cannot be read, in words', async () => {
    const feed = kept('wrong.yaml', 'name: Skerry Isles\nzone: Mars/North\nclinics: {}\ntypes: {}\n')
    const wrong = await daysix(['feed-check', feed, 'demo/schedule/week.hl7'], {})
    expectPlain(wrong, wrong.code!, [/wrong\.yaml, name: Give a short name/, /wrong\.yaml, zone: .*IANA/, /clinics/])
    expect(wrong.code).not.toBe(0)
    const missing = await daysix(['feed-check', FEED, join(folder, 'nowhere')], {})
    expect([missing.code === 0, missing.stderr]).toEqual([false, expect.stringContaining('is not there')])
  })
})
