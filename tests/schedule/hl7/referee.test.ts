import { spawnSync } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { acksOf } from '../../../src/adapters/schedule/hl7/ack.ts'
import { frame, Framer } from '../../../src/adapters/schedule/hl7/mllp.ts'
import { get } from '../../../src/adapters/schedule/hl7/parse.ts'
import { PYTHON } from '../../gateways/peers/mail-peer.ts'
import { present } from '../../gateways/peers/programs.ts'
import { bytes, latin1, msh, parsed, siu } from './messages.ts'

const PEER = fileURLToPath(new URL('python_hl7.py', import.meta.url))
type Asked = [kind: 'parse' | 'ack' | 'frames', charset: string, content: Uint8Array]

/** What python-hl7 (Debian's python3-hl7 0.4.5, BSD) makes of each. */
function python(asked: readonly Asked[]): unknown[] {
  const input = asked.map(
    ([kind, charset, content]) => `${kind} ${charset} ${Buffer.from(content).toString('base64')}\n`,
  )
  const { stdout, stderr, status } = spawnSync(PYTHON, [PEER], { input: input.join(''), maxBuffer: 1e9 })
  if (status !== 0) throw new Error(stderr.toString())
  return stdout
    .toString()
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as unknown)
}

/** Other delimiters too: field, component, repetition, escape, subcomponent. */
const MARKS = ['|^~\\&', '#$*!%', '|:;?,'] as const

/** A message of random leaves, with every escape sequence that python-hl7 knows. */
const anyMessage = fc.constantFrom(...MARKS).chain((marks) => {
  const [field, component, repetition, escape, subcomponent] = [...marks] as [string, string, string, string, string]
  const sequence = fc
    .constantFrom('F', 'S', 'T', 'R', 'E', '.br', 'H', 'N', 'X41', 'X5A6A', 'XE9', '.fi', '.nf')
    .map((name) => `${escape}${name}${escape}`)
  const letters = fc.stringMatching(/^[a-zA-Z0-9 @"éßØ()+-]{0,8}$/)
  const leaf = fc
    .array(fc.oneof({ weight: 4, arbitrary: letters }, sequence), { maxLength: 3 })
    .map((all) => all.join(''))
  const list = (of: fc.Arbitrary<string>, mark: string) => fc.array(of, { maxLength: 4 }).map((all) => all.join(mark))
  const one = list(list(list(leaf, subcomponent), component), repetition)
  const name = fc.constantFrom('SCH', 'PID', 'AIS', 'AIL', 'ZZ1', 'OBX')
  const segment = fc.tuple(name, fc.array(one, { minLength: 1, maxLength: 9 })).map((all) => all.flat().join(field))
  return fc
    .array(segment, { minLength: 1, maxLength: 6 })
    .map((all) => [`MSH${marks}${field.repeat(16)}8859/1`, ...all, `NTE${field}end`].join('\r'))
})

describe.skipIf(!present(PYTHON, ['-c', 'import hl7.client']))('python-hl7', () => {
  it('finds the same in every leaf of random messages', () => {
    const messages = fc.sample(anyMessage, { numRuns: 400, seed: 20260309 }).map(latin1)
    const theirs = python(messages.map((message) => ['parse', 'latin1', message]))
    for (const [index, message] of messages.entries())
      expect(parsed(message).segments.map(({ fields }) => fields)).toEqual(theirs[index])
    expect(theirs.flat(6).length).toBeGreaterThan(10_000)
  })

  it('finds the same in a booking', () => {
    const [theirs] = python([['parse', 'utf-8', bytes(siu())]])
    expect(parsed(siu()).segments.map(({ fields }) => fields)).toEqual(theirs)
  })

  it('finds the same frames in a stream', () => {
    const messages = [siu(), siu({ MSH: msh('S15') }), siu({ PID: '' })].map((text) => bytes(text.trimEnd()))
    const stream = Uint8Array.from(Buffer.concat(messages.map(frame)))
    const [theirs] = python([['frames', 'utf-8', stream]])
    const ours = new Framer()
      .push(stream)
      .map((one) => ('frame' in one ? Buffer.from(one.frame).toString('base64') : ''))
    expect(ours).toEqual(theirs)
    expect(ours).toHaveLength(3)
  })

  it('would acknowledge likewise, and reads our acknowledgement', () => {
    const marks = { ids: ['D1', 'D2'] as const, at: new Date('2026-03-02T13:00:05Z') }
    const ours = acksOf(parsed(siu()), 'AA', marks)[0]!
    const [theirs, read] = python([
      ['ack', 'utf-8', bytes(siu())],
      ['parse', 'utf-8', ours],
    ]) as [string[][], unknown]
    expect(parsed(ours).segments.map(({ fields }) => fields)).toEqual(read)
    const [head, msa] = parsed(ours).segments
    // MSH-7 is the moment at which each was made.
    for (const field of [1, 2, 3, 4, 5, 6, 10, 11, 12]) expect(get(head, field)).toBe(theirs[0]![field])
    expect([1, 2, 3].map((part) => get(head, 9, 1, part)).join('^')).toBe(theirs[0]![9])
    expect([1, 2].map((field) => get(msa, field))).toEqual(theirs[1]!.slice(1, 3))
  })
})
