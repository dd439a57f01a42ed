import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { basename, dirname, join, relative } from 'node:path'
import { cruise, type ICruiseResult } from 'dependency-cruiser'
import { ESLint } from 'eslint'
import ts from 'typescript'
import { describe, expect, it } from 'vitest'
import { ROOT, sources } from './sources.ts'

// Each file of `fixtures` breaks the rule that its first line names. A rule that lets its file pass is no rule.
const FIXTURES = 'tests/architecture/fixtures'
const broken = sources(FIXTURES).flatMap(({ path, text }) => {
  const rule = /^\/\/ breaks: (\S+)/.exec(text)?.[1]
  return rule ? [{ path: relative(FIXTURES, path), rule }] : []
})

/** Rules of this checker that a file breaks, as it says of itself. */
const expected = (rules: ReadonlySet<string>) => broken.filter(({ rule }) => rules.has(rule))

describe('the rules of dependencies.cjs', () => {
  const { forbidden, options } = createRequire(import.meta.url)(join(ROOT, 'infra/dependencies.cjs'))
  const names = new Set<string>(forbidden.map(({ name }: { name: string }) => name))

  it('each fail on the file made for it', async () => {
    const { output } = await cruise(['src'], {
      ...options,
      tsConfig: undefined,
      baseDir: join(ROOT, FIXTURES),
      validate: true,
      ruleSet: { forbidden },
    })
    const found = (output as ICruiseResult).summary.violations.map(({ from, rule }) => ({
      path: from,
      rule: rule.name,
    }))
    expect(found).toEqual(expect.arrayContaining(expected(names)))
    expect(found.filter(({ path }) => !broken.some((each) => each.path === path))).toEqual([])
    expect([...names].filter((name) => !broken.some(({ rule }) => rule === name))).toEqual([])
  })
})

describe('the rules of eslint.config.js', () => {
  it('each fail on the file made for it', { timeout: 60_000 }, async () => {
    const eslint = new ESLint({ cwd: ROOT, overrideConfigFile: 'infra/eslint.config.js', ignore: false })
    const results = await eslint.lintFiles([`${FIXTURES}/**/*.ts`])
    const found = results.flatMap(({ filePath, messages }) =>
      messages.map(({ ruleId }) => ({ path: relative(join(ROOT, FIXTURES), filePath), rule: ruleId! })),
    )
    const rules = new Set(broken.map(({ rule }) => rule).filter((rule) => /^no-restricted|^@/.test(rule)))
    expect(found).toEqual(expect.arrayContaining(expected(rules)))
    expect(found.filter(({ path }) => !broken.some((each) => each.path === path))).toEqual([])
  })
})

describe('the types of the domain', () => {
  it.each(['chance', 'network', 'later', 'settings', 'package'])('do not know what %s.ts uses', (name) => {
    const file = join(ROOT, FIXTURES, 'src/domain', `${name}.ts`)
    const config = join(ROOT, 'src/domain/tsconfig.json')
    const read = ts.parseJsonConfigFileContent(
      ts.readConfigFile(config, (path) => readFileSync(path, 'utf8')).config,
      ts.sys,
      dirname(config),
    )
    const program = ts.createProgram([file], read.options)
    const faults = ts.getPreEmitDiagnostics(program).filter((fault) => fault.file?.fileName.endsWith(basename(file)))
    expect(faults.map(({ messageText }) => ts.flattenDiagnosticMessageText(messageText, ' ')).join()).toMatch(
      /Cannot find (name|module)/,
    )
  })
})
