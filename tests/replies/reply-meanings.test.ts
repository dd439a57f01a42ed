import { expect, it } from 'vitest'
import { MEANINGS } from '../../src/domain/replies/reading.ts'
import { REPLY_MEANINGS } from '../../src/domain/replies/reply-meanings.ts'

// What the compiler cannot hold of the table. Rules of the product, no source.
const STATED = MEANINGS.map((meaning) => REPLY_MEANINGS[meaning])

it('each meaning has a place of its own in the precedence, and a label of its own', () => {
  expect(new Set(STATED.map(({ precedence }) => precedence)).size).toBe(STATED.length)
  expect(new Set(STATED.map(({ label }) => label)).size).toBe(STATED.length)
})

it('what must not be missed comes before all else but a death, and is heard in a flood', () => {
  const last = Math.max(...STATED.filter(({ neverHidden }) => neverHidden).map(({ precedence }) => precedence))
  const before = MEANINGS.filter((meaning) => REPLY_MEANINGS[meaning].precedence <= last)
  expect(before.toSorted()).toEqual(['died', 'stop', 'urgent'])
  expect(before.filter((meaning) => !REPLY_MEANINGS[meaning].inAFlood)).toEqual([])
})
