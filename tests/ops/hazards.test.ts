import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import ts from 'typescript'
import { describe, expect, it } from 'vitest'
import { ROOT, read, walk } from '../architecture/sources.ts'

/** Scales as the document explains them. */
const SEVERITY = ['minor', 'moderate', 'serious', 'critical']
const LIKELIHOOD = ['very rarely', 'rarely', 'sometimes', 'often']

interface Hazard {
  no: string
  hazard: string
  cause: string
  before: string
  control: string
  proofs: string[]
  after: string
  remains: string
}

const TEXT = readFileSync(join(ROOT, 'infra/hazards.md'), 'utf8')

const HAZARDS: Hazard[] = [...TEXT.matchAll(/^\| H-.*$/gm)].map(([line]) => {
  const cells = line.split('|').slice(1, -1)
  const [no, hazard, cause, before, control, proofs, after, remains] = cells.map((cell) => cell.trim())
  expect(cells, line).toHaveLength(8)
  const proved = proofs!.split('<br>')
  return {
    no: no!,
    hazard: hazard!,
    cause: cause!,
    before: before!,
    control: control!,
    proofs: proved,
    after: after!,
    remains: remains!,
  }
})

/** First arguments of all that a test file calls `it`, `test` or `describe`, with or without `.each(…)` and the like. */
function namesIn(path: string): Set<string> {
  const names = new Set<string>()
  walk(read(path, readFileSync(join(ROOT, path), 'utf8')).tree, (node) => {
    if (!ts.isCallExpression(node)) return
    const [name] = node.arguments
    if (name && ts.isStringLiteralLike(name) && /^(it|test)\b/.test(calleeOf(node))) names.add(name.text)
  })
  return names
}

const calleeOf = ({ expression }: ts.CallExpression): string => expression.getText()

/** What is wrong with one proof; null = nothing. */
function faultOf(proof: string): string | null {
  if (/^no test: \S.{10,}/.test(proof)) return null
  const [, path, name] = /^`(tests\/[\w/-]+\.test\.ts)` "(.+)"$/.exec(proof) ?? []
  if (path === undefined || name === undefined) return `not readable: ${proof}`
  if (!existsSync(join(ROOT, path))) return `no such file: ${path}`
  return namesIn(path).has(name) ? null : `no such test in ${path}: ${name}`
}

describe('the list of hazards', () => {
  it('is numbered without a gap, and complete in every row', () => {
    expect(HAZARDS.map(({ no }) => no)).toEqual(
      HAZARDS.map((_each, index) => `H-${String(index + 1).padStart(2, '0')}`),
    )
    expect(HAZARDS.length).toBeGreaterThan(40)
    for (const { no, hazard, cause, control, remains } of HAZARDS)
      for (const cell of [hazard, cause, control, remains]) expect(cell.length, no).toBeGreaterThan(3)
  })

  it('judges by the scales that it explains, and no control makes anything worse', () => {
    for (const { no, before, after } of HAZARDS) {
      const [was, is] = [before, after].map((cell) => cell.split(', '))
      expect(SEVERITY, no).toContain(was![0])
      expect(SEVERITY, no).toContain(is![0])
      expect(LIKELIHOOD, no).toContain(was![1])
      expect(LIKELIHOOD, no).toContain(is![1])
      expect(LIKELIHOOD.indexOf(is![1]!), no).toBeLessThanOrEqual(LIKELIHOOD.indexOf(was![1]!))
      for (const word of [...was!, ...is!]) expect(TEXT).toContain(`*${word}*`)
    }
  })

  it('names tests that there are, or says that there is none and what a person does', () => {
    expect(
      HAZARDS.flatMap(({ no, proofs }) => proofs.flatMap((proof) => faultOf(proof) ?? []).map((f) => `${no}: ${f}`)),
    ).toEqual([])
  })

  it('would be found out: a test that is gone, a file that is gone, nothing at all', () => {
    expect(faultOf('`tests/ops/hazards.test.ts` "is a test that nobody has written"')).toMatch(/no such test/)
    expect(faultOf('`tests/ops/gone.test.ts` "x"')).toMatch(/no such file/)
    expect(faultOf('')).toMatch(/not readable/)
    expect(faultOf('no test')).toMatch(/not readable/)
    // A name that only stands in a comment or in another string is no test.
    expect(faultOf('`tests/ops/hazards.test.ts` "not a test at all"')).toMatch(/no such test/)
  })
})
