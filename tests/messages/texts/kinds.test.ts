import { readFileSync } from 'node:fs'
import { expect, it } from 'vitest'
import { TEXT_KINDS } from '../../../src/domain/messages/texts/kinds.ts'
import { MESSAGE_KINDS } from '../../../src/domain/messages/texts/message-kinds.ts'

// What the compiler cannot hold of the table. Rules of the product, no source.

it('each kind has a label of its own', () => {
  expect(new Set(TEXT_KINDS.map((kind) => MESSAGE_KINDS[kind].label)).size).toBe(TEXT_KINDS.length)
})

it('what asks for a number lists the choices, and nothing else does', () => {
  for (const kind of TEXT_KINDS) {
    const { asks, answers } = MESSAGE_KINDS[kind]
    expect([kind, answers === 'numbers']).toEqual([kind, asks === 'which-visit' || asks === 'which-time'])
  }
})

it('the indexes that find preparation which did not arrive name the kinds that prepare', () => {
  const schema = readFileSync(new URL('../../../infra/schema.sql', import.meta.url), 'utf8')
  const indexes = schema.split('\n').filter((line) => /INDEX message_prep/i.test(line))
  const named = indexes.map((line) => [...line.matchAll(/'((?:late-)?[a-z-]+)'::text/g)].map(([, kind]) => kind))
  const prepare = TEXT_KINDS.filter((kind) => MESSAGE_KINDS[kind].prepares !== null)
  expect(indexes).toHaveLength(2)
  for (const kinds of named) expect(kinds.filter((kind) => kind !== 'sent')).toEqual(prepare)
})
