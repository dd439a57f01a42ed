import { spawnSync } from 'node:child_process'
import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { ROOT } from '../architecture/sources.ts'

const LINE = '{"id":"a","lmp":"2026-03-02","from":"2026-03-20","to":"2026-03-20"}\n'

let app: string
const tools = () => join(app, 'node_modules')
const run = (...args: string[]) => {
  const { status, stdout, stderr } = spawnSync(process.execPath, args, {
    cwd: app,
    env: { ...process.env, LOG_LEVEL: 'debug' },
    input: LINE,
    encoding: 'utf8',
  })
  return { status, stdout, stderr }
}
const forecast = () => run('src/cli/daysix.mjs', 'forecast')
const answered = { status: 0, stderr: '', stdout: expect.stringContaining('"cycleDay":19') as string }
const toldInOneLine = { status: 1, stdout: '', stderr: expect.stringMatching(/^[^\n]*npm ci[^\n]*\n$/) as string }

/** A change of what the command says of itself, as somebody might make who works on it. */
function change(from: string, to: string): void {
  const file = join(app, 'src/cli/forecast.ts')
  const text = readFileSync(file, 'utf8')
  expect(text).toContain(from)
  writeFileSync(file, text.replace(from, to))
}

beforeAll(() => {
  app = mkdtempSync(join(tmpdir(), 'daysix-compiled-'))
  for (const path of ['package.json', 'package-lock.json', 'tsconfig.json', 'src', 'templates', 'demo', 'infra'])
    cpSync(join(ROOT, path), join(app, path), { recursive: true })
})
afterAll(() => rmSync(app, { recursive: true, force: true }))

describe('an install that compiled nothing', () => {
  it.each([
    [['src/cli/daysix.mjs', 'forecast']],
    [['demo/demo.mjs', '--headless']],
    [['infra/run.mjs', 'chaos/chaos.ts']],
  ])('is told in one line what to run: %j', (args) => expect(run(...args)).toEqual(toldInOneLine))

  it('is no fault where the tools of development are left out, and leaves nothing behind', () => {
    expect(run('infra/build/build.mjs')).toMatchObject({
      status: 0,
      stderr: expect.stringMatching(/^[^\n]+\n$/) as string,
    })
    expect(existsSync(join(app, '.build'))).toBe(false)
  })
})

describe('what was compiled', () => {
  beforeAll(() => {
    symlinkSync(join(ROOT, 'node_modules'), tools())
    const { status, stderr } = run('--eval', "import('./infra/build/compile.mjs').then(({ compile }) => compile())")
    expect({ status, stderr }).toEqual({ status: 0, stderr: '' })
  })

  it('answers without any package or compiler at hand, also where copying gave its sources other times', () => {
    rmSync(tools())
    expect(forecast()).toEqual(answered)
    utimesSync(join(app, 'src/cli/forecast.ts'), 1, 1)
    expect(forecast()).toEqual(answered)
  })

  it('does not run for other sources: without the compiler that is said in one line', () => {
    change('or a calendar for a person', 'or a picture for a person')
    expect(forecast()).toEqual(toldInOneLine)
    change('or a picture for a person', 'or a calendar for a person')
    expect(forecast()).toEqual(answered)
  })

  it('is compiled anew from changed sources where the compiler is at hand', () => {
    symlinkSync(join(ROOT, 'node_modules'), tools())
    change('or a calendar for a person', 'or a picture for a person')
    expect(run('src/cli/daysix.mjs', 'forecast', '--help').stdout).toContain('or a picture for a person')
    expect(forecast()).toEqual(answered)
  })

  it('tells where an error comes from in lines of the sources', () => {
    const file = join(app, 'src/cli/forecast.ts')
    const lines = readFileSync(file, 'utf8').split('\n').length
    appendFileSync(file, "throw new TypeError('planted')\n")
    const { status, stderr } = forecast()
    expect(status).toBe(1)
    expect(stderr).toContain(`src/cli/forecast.ts:${lines}:`)
  })
})
