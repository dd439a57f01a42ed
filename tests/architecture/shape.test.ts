import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { FAILURES } from '../../src/domain/failure.ts'
import { ROOT, functionLengths, read, sources, wideLines } from './sources.ts'

// Who may import whom, and what the domain may use, is checked by `npm run lint`; rules.test.ts checks these checks.
const all = sources('src')

describe('the source', () => {
  it('has a synchronous domain', () => {
    const code = (text: string) => text.replaceAll(/\/\*[\s\S]*?\*\/|\/\/.*/g, '')
    const wrong = sources('src/domain').filter(({ text }) => /\basync\b|\bawait\b|\bPromise\b/.test(code(text)))
    expect(wrong.map(({ path }) => path)).toEqual([])
  })

  it('has no drawers for odds and ends', () => {
    const drawers = all.filter(({ path }) => /\/(utils?|helpers?|lib|common|misc)(\/|\.ts$|-)/.test(path))
    expect(drawers.map(({ path }) => path)).toEqual([])
  })
})

describe('sizes', () => {
  const LONGEST = 60
  const lengths = all.flatMap(functionLengths).sort((a, b) => a.lines - b.lines)
  const tooLong = (found: typeof lengths) => found.filter(({ lines }) => lines > LONGEST).map(({ name }) => name)

  it('functions are short: half of them under 10 lines, nine of ten under 25, none over 60', () => {
    expect(lengths[Math.floor(lengths.length * 0.5)]!.lines).toBeLessThan(10)
    expect(lengths[Math.floor(lengths.length * 0.9)]!.lines).toBeLessThan(25)
    expect(tooLong(lengths)).toEqual([])
  })

  it.each([
    ['an arrow', (lines: string) => `export const long = () => {\n${lines}}`],
    ['an expression', (lines: string) => `export const long = function () {\n${lines}}`],
    ['a method', (lines: string) => `export class Long {\n  long() {\n${lines}}}`],
    ['an accessor', (lines: string) => `export const long = {\n  get long() {\n${lines}return 1}}`],
  ])('see %s of 200 lines', (_kind, write) => {
    expect(tooLong(functionLengths(read('long.ts', write('  void 0\n'.repeat(200)))))).toHaveLength(1)
  })

  it('files stay under 250 lines, tables of data apart', () => {
    const tables = [
      'src/adapters/db/migrations/',
      'src/domain/calls/follow-up-reasons.ts',
      'src/domain/messages/texts/message-kinds.ts',
      'src/domain/replies/reply-meanings.ts',
    ]
    const long = all.filter(
      ({ path, text }) => text.split('\n').length > 250 && !tables.some((table) => path.startsWith(table)),
    )
    expect(long.map(({ path, text }) => `${path}: ${text.split('\n').length}`)).toEqual([])
  })

  it('lines stay within 120 characters, but for a text that cannot be broken', () => {
    expect(all.flatMap(wideLines)).toEqual([])
    expect(wideLines(read('wide.ts', `export const wide = [${'1, '.repeat(60)}]`))).toEqual(['wide.ts:1'])
    expect(wideLines(read('comment.ts', `// ${'words '.repeat(30)}`))).toEqual(['comment.ts:1'])
  })
})

describe('the registry of errors', () => {
  const documented = [...readFileSync(join(ROOT, 'DEVELOPERS.md'), 'utf8').matchAll(/^\| `([a-z-]+)` \| \d{3} \|/gm)]

  it('is documented code by code, and nothing else is', () => {
    expect(documented.map(([, code]) => code!).sort()).toEqual(Object.keys(FAILURES).sort())
  })
})
