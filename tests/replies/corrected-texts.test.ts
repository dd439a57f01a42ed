import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { labelledLine, withoutNames } from '../../src/domain/replies/corrected-text.ts'
import { readLabelled } from '../../src/cli/score-replies.ts'
import { correctReading } from '../../src/flows/replies/correct-reading.ts'
import { correctedTexts } from '../../src/flows/replies/corrected-texts.ts'
import { TestWorld } from '../harness/world.ts'

// What the desk has put right teaches, without telling of whom. Own rules, no source; invented people.
const ADA = '+17825550101'

describe('a text without names', () => {
  it.each([
    ["it's Ada Fenwick, can't come", ['Ada Fenwick'], "it's NAME NAME, can't come"],
    ['ADA here, call 782 555 0101 or 911', ['Ada Fenwick'], 'NAME here, call NUMBER or 911'],
    ["Ada's mum: she is in on the 12/03", ['Ada Fenwick'], 'NAME mum: she is in on the 12/03'],
    ['Ганна Шевченко не прийде', ['Ганна Шевченко'], 'NAME NAME не прийде'],
    ['adapter', ['Ada Fenwick'], 'adapter'],
  ])('%j', (text, names, left) => expect(withoutNames(text, names)).toBe(left))

  it('stays one line of a labelled file', () => {
    const receivedAt = new Date('2026-03-09T13:00:00Z')
    const reading = { meaning: 'choice', choice: 2, confidence: 1, words: [], also: ['confirm'] } as const
    const line = labelledLine({
      language: 'en',
      reading: { ...reading, also: ['confirm'], words: [] },
      text: 'the\tsecond\none',
      receivedAt,
    })
    expect(readLabelled(line)).toMatchObject([
      { language: 'en', meanings: ['choice', 'confirm'], detail: '2', text: 'the second one', choices: 3 },
    ])
  })
})

describe('corrected replies', () => {
  let world: TestWorld
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
  })
  afterAll(() => world.close())

  it('come out as labelled texts: those that a person read otherwise, and no others', async () => {
    await world.book({ visit: '2026-03-19T10:00', name: 'Ada Fenwick' })
    await world.reply(ADA, 'yes')
    await world.reply(ADA, 'Ada Fenwick says the moon has risen, 782 555 0101')
    const replies = await world.deps.store.read.replies.fromPhone(ADA, new Date(0))
    await correctReading(world.deps, replies.at(-1)!.id, { meaning: 'period-started', date: '2026-03-08', by: 'desk' })
    const lines = await correctedTexts(world.deps.store.read)
    expect(lines).toEqual([
      'en\tperiod-started 2026-03-08\tNAME NAME says the moon has risen, NUMBER\t0\t2026-03-09T13:01:00.000Z',
    ])
    expect(readLabelled(lines.join('\n'))).toHaveLength(1)
  })
})
