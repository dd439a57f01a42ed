import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import ts from 'typescript'
import { describe, expect, it } from 'vitest'
import { FAILURES } from '../../src/domain/failure.ts'
import { ROOT, functionLengths, sources, walk, type Source } from './sources.ts'

const all = sources('src')
const within = (folder: string) => all.filter(({ path }) => path.startsWith(folder))

/** Layers, inmost first: each may import itself and those before it. */
const LAYERS = ['src/domain/', 'src/flows/', 'src/adapters/', 'src/compose.ts', 'src/service.ts', 'src/main.ts', 'src/cli/'] as const
/** Read by whoever needs settings; imports only the domain. */
const SETTINGS = 'src/config.ts'
/** Small pure libraries: no clock, no network, no files. */
const PURE_PACKAGES = new Set(['luxon', 'zod', 'libphonenumber-js', 'intl-messageformat', 'chrono-node'])

function layerOf(path: string): number {
  return LAYERS.findIndex((layer) => path === layer || path.startsWith(layer))
}

describe('the layers', () => {
  it('are all there is under src', () => {
    expect(all.filter(({ path }) => layerOf(path) === -1 && path !== SETTINGS).map(({ path }) => path)).toEqual([])
  })

  it('depend one way only: domain ← flows ← adapters ← compose ← service ← main ← cli', () => {
    const wrong = all
      .filter(({ path }) => path !== SETTINGS)
      .flatMap(({ path, files }) => files.filter((file) => file !== SETTINGS && layerOf(file) > layerOf(path)).map((file) => `${path} imports ${file}`))
    expect(wrong).toEqual([])
  })

  it('let neither the domain nor the flows read settings', () => {
    const wrong = [...within('src/domain/'), ...within('src/flows/')].filter(({ files }) => files.includes(SETTINGS))
    expect(wrong.map(({ path }) => path)).toEqual([])
  })

  it('keep packages out of the domain, but for small pure ones', () => {
    const wrong = within('src/domain/').flatMap(({ path, packages }) => packages.filter((name) => !PURE_PACKAGES.has(name.split('/')[0]!)).map((name) => `${path} imports ${name}`))
    expect(wrong).toEqual([])
  })

  it('let flows use Node for hashing only, and no package of the outside world', () => {
    const allowed = new Set([...PURE_PACKAGES, 'node:crypto'])
    const wrong = within('src/flows/').flatMap(({ path, packages }) => packages.filter((name) => !allowed.has(name)).map((name) => `${path} imports ${name}`))
    expect(wrong).toEqual([])
  })
})

/** Uses of a name such as `Date.now`. */
function uses({ tree }: Source, name: string): boolean {
  let found = false
  walk(tree, (node) => {
    if (ts.isPropertyAccessExpression(node) && node.getText() === name) found = true
  })
  return found
}

/** `new Date()` and `DateTime.utc()` (now), and `new Date('…')` (zone-less parsing). */
function datesWithoutSource({ tree }: Source): string[] {
  const found: string[] = []
  walk(tree, (node) => {
    const isLuxonNow = ts.isCallExpression(node) && /^DateTime\.(utc|local)$/.test(node.expression.getText()) && node.arguments.length === 0
    if (isLuxonNow) found.push(node.getText())
    if (!ts.isNewExpression(node) || node.expression.getText() !== 'Date') return
    const [first] = node.arguments ?? []
    if (!first || ts.isStringLiteralLike(first) || ts.isTemplateExpression(first)) found.push(node.getText())
  })
  return found
}

describe('the domain', () => {
  const HIDDEN = ['Date.now', 'Math.random', 'process.env', 'performance.now', 'DateTime.now', 'Date.parse', 'Settings.now']

  it.each(HIDDEN)('never uses %s: what it needs comes in as a parameter', (name) => {
    expect([...within('src/domain/'), ...within('src/flows/')].filter((source) => uses(source, name)).map(({ path }) => path)).toEqual([])
  })

  it('never asks for the current date nor parses one without a zone', () => {
    const wrong = [...within('src/domain/'), ...within('src/flows/')].flatMap((source) => datesWithoutSource(source).map((text) => `${source.path}: ${text}`))
    expect(wrong).toEqual([])
  })

  it('is synchronous', () => {
    const wrong = within('src/domain/').filter(({ text }) => /\basync\b|\bawait\b|\bPromise\b/.test(text.replaceAll(/\/\*[\s\S]*?\*\/|\/\/.*/g, '')))
    expect(wrong.map(({ path }) => path)).toEqual([])
  })
})

describe('the rest', () => {
  it('reads the environment in config.ts only', () => {
    expect(all.filter((source) => source.path !== SETTINGS && uses(source, 'process.env')).map(({ path }) => path)).toEqual([])
  })

  it('ends the process in main.ts only', () => {
    expect(all.filter((source) => source.path !== 'src/main.ts' && uses(source, 'process.exit')).map(({ path }) => path)).toEqual([])
  })

  it('has no drawers for odds and ends', () => {
    expect(all.filter(({ path }) => /\/(utils?|helpers?|lib|common|misc)(\/|\.ts$|-)/.test(path)).map(({ path }) => path)).toEqual([])
  })
})

describe('sizes', () => {
  const lengths = all.flatMap(functionLengths).sort((a, b) => a.lines - b.lines)

  it('functions are short: half of them under 10 lines, nine of ten under 25', () => {
    expect(lengths[Math.floor(lengths.length * 0.5)]!.lines).toBeLessThan(10)
    expect(lengths[Math.floor(lengths.length * 0.9)]!.lines).toBeLessThan(25)
  })

  it('files stay under 250 lines, tables of data apart', () => {
    const tables = ['src/adapters/db/migrations/']
    const long = all.filter(({ path, text }) => text.split('\n').length > 250 && !tables.some((table) => path.startsWith(table)))
    expect(long.map(({ path, text }) => `${path}: ${text.split('\n').length}`)).toEqual([])
  })
})

describe('the registry of errors', () => {
  const documented = [...readFileSync(join(ROOT, 'DEVELOPERS.md'), 'utf8').matchAll(/^\| `([a-z-]+)` \| \d{3} \|/gm)].map(([, code]) => code!)

  it('is documented code by code, and nothing else is', () => {
    expect(documented.sort()).toEqual(Object.keys(FAILURES).sort())
  })
})
