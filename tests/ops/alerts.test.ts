import { execFile } from 'node:child_process'
import { existsSync, readFileSync } from 'node:fs'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { parse, stringify } from 'yaml'
import { createMetrics } from '../../src/adapters/metrics/metrics.ts'
import type { Store } from '../../src/flows/ports/deps.ts'
import { createPocketGateway } from '../../src/adapters/gateways/pocket/pocket-gateway.ts'
import { compose, type Composed } from '../../src/compose.ts'
import { loadConfig } from '../../src/config.ts'
import { ensureFirstClinic } from '../../src/flows/region/first-clinic.ts'
import { sweep } from '../../src/flows/messages/sweep.ts'
import { startService, type Running } from '../../src/service.ts'
import { eventually } from '../../infra/chaos/service-process.ts'
import { ROOT, sources } from '../architecture/sources.ts'

const run = promisify(execFile)
const PROMTOOL = process.env.PROMTOOL_PATH ?? '/usr/bin/promtool'
const read = (path: string) => readFileSync(join(ROOT, path), 'utf8')

interface Rule {
  alert: string
  expr: string
}
interface RuleTests {
  tests: { alert_rule_test: { alertname: string; exp_alerts: unknown[] }[] }[]
}

const rules = (parse(read('infra/alerts.yaml')) as { groups: { rules: Rule[] }[] }).groups.flatMap(
  (group) => group.rules,
)

interface Panel {
  title: string
  tells: string
  expr: string
  unit: string
  worry: string
}
const { panels } = parse(read('infra/dashboard.yaml')) as { panels: Panel[] }
const records = (
  parse(read('infra/records.yaml')) as { groups: { rules: { record: string; expr: string }[] }[] }
).groups.flatMap((group) => group.rules)
/** All that is asked of the metrics; what panels ask of records is held against those. */
const asked: Rule[] = [
  ...rules,
  ...panels.map(({ title, expr }) => ({ alert: `panel "${title}"`, expr })).filter(({ expr }) => !/daysix:/.test(expr)),
  ...records.map(({ record, expr }) => ({ alert: record, expr })),
]

/** A metric as an alert names it, with the labels it looks at. */
interface Named {
  metric: string
  labels: { name: string; is: string; value: string }[]
}

function named({ expr }: Rule): Named[] {
  return [...expr.matchAll(/\b(daysix_\w+)(?:\{([^}]*)\})?/g)].map(([, metric, within = '']) => ({
    metric: metric!,
    labels: [...within.matchAll(/(\w+)\s*(=~|!~|!=|=)\s*"([^"]*)"/g)].map(([, name, is, value]) => ({
      name: name!,
      is: is!,
      value: value!,
    })),
  }))
}

/** Samples of the text format: name → labels of each. */
function samplesOf(text: string): Map<string, Record<string, string>[]> {
  const samples = new Map<string, Record<string, string>[]>()
  for (const line of text.split('\n').filter((each) => each !== '' && !each.startsWith('#'))) {
    const [, name, within = ''] = /^(\w+)(?:\{(.*)\})? \S+/.exec(line)!
    const labels = Object.fromEntries(
      [...within.matchAll(/(\w+)="((?:[^"\\]|\\.)*)"/g)].map(([, label, value]) => [label!, value!]),
    )
    samples.set(name!, [...(samples.get(name!) ?? []), labels])
  }
  return samples
}

describe('the alerts', () => {
  it('are each explained in the runbook, and the runbook explains no others', () => {
    const explained = [...read('infra/README.md').matchAll(/^\| (Daysix\w+) \|/gm)].map(([, name]) => name!)
    expect(explained.sort()).toEqual(rules.map(({ alert }) => alert).sort())
  })

  it('are each tried on a case that must be heard and on one that must not', () => {
    const tried = (parse(read('infra/alerts.test.yaml')) as RuleTests).tests.flatMap(
      ({ alert_rule_test }) => alert_rule_test,
    )
    for (const { alert } of rules) {
      const own = tried.filter(({ alertname }) => alertname === alert).map(({ exp_alerts }) => exp_alerts.length > 0)
      expect([alert, own.includes(true), own.includes(false)]).toEqual([alert, true, true])
    }
  })

  // Prometheus' own tool says whether the rules are right; Debian's package `prometheus` has it.
  it.skipIf(!existsSync(PROMTOOL))('do as their cases say, by promtool', async () => {
    await run(PROMTOOL, ['check', 'rules', join(ROOT, 'infra/alerts.yaml')])
    await run(PROMTOOL, ['test', 'rules', join(ROOT, 'infra/alerts.test.yaml')])
  })

  it('count only what the service notices', () => {
    const noticed = new Set(
      sources('src').flatMap(({ text }) => [...text.matchAll(/notice\('([a-z-]+)'/g)].map(([, what]) => what!)),
    )
    const counted = rules
      .flatMap(named)
      .flatMap(({ labels }) => labels.filter(({ name }) => name === 'what').map(({ value }) => value))
    expect(counted.length).toBeGreaterThan(0)
    expect(counted.filter((what) => !noticed.has(what))).toEqual([])
  })
})

describe('the panels', () => {
  it('say what they tell, in which unit, and when to worry', () => {
    expect(panels.length).toBeGreaterThan(0)
    for (const panel of panels)
      expect(
        Object.values(panel).every((words) => typeof words === 'string' && words !== ''),
        panel.title,
      ).toBe(true)
  })

  it('look at records that are there, and at every one of them', () => {
    const used = panels.flatMap(({ expr }) => expr.match(/daysix:\w+:\w+/g) ?? [])
    expect([...new Set(used)].sort()).toEqual(records.map(({ record }) => record).sort())
  })

  it('keep to labels that their record leaves', () => {
    for (const { expr } of panels)
      for (const [, by, record, within = ''] of expr.matchAll(
        /(?:by \((\w+)\) \()?(daysix:\w+:\w+)(?:\{([^}]*)\})?/g,
      )) {
        const left = /by \(([^)]*)\)/.exec(records.find((each) => each.record === record)!.expr)![1]!.split(', ')
        const wanted = [...within.matchAll(/(\w+)\s*!?=/g)].map(([, label]) => label!)
        expect(left, expr).toEqual(expect.arrayContaining(by ? [by, ...wanted] : wanted))
      }
  })

  it.skipIf(!existsSync(PROMTOOL))('are right for promtool, as the records are', async () => {
    await run(PROMTOOL, ['check', 'rules', join(ROOT, 'infra/records.yaml')])
    const folder = await mkdtemp(join(tmpdir(), 'daysix-panels-'))
    const file = join(folder, 'panels.yaml')
    const asRules = panels.map(({ expr }, index) => ({ record: `panel:${index}`, expr }))
    await writeFile(file, stringify({ groups: [{ name: 'panels', rules: asRules }] }))
    await run(PROMTOOL, ['check', 'rules', file]).finally(() => rm(folder, { recursive: true }))
  })
})

describe('metrics, with those of the process', () => {
  it.skipIf(!existsSync(PROMTOOL))('have names and types that promtool finds no fault with', async () => {
    const metrics = createMetrics({} as Store, { now: () => new Date() })
    const folder = await mkdtemp(join(tmpdir(), 'daysix-metrics-'))
    const file = join(folder, 'metrics.txt')
    await writeFile(file, await metrics.text())
    // It reads them from its input alone, and exits with 3 where it would have them otherwise.
    await run('sh', ['-c', `'${PROMTOOL}' check metrics < '${file}'`]).finally(() => rm(folder, { recursive: true }))
  })
})

describe('what a running service exposes', () => {
  let service: Composed
  let running: Running
  let samples: Map<string, Record<string, string>[]>

  beforeAll(async () => {
    const pocket = createPocketGateway({
      clock: { now: () => new Date() },
      random: () => 0.5,
      after: (ms, work) => void setTimeout(() => void work(), ms),
    })
    const config = { ...loadConfig({ NODE_ENV: 'test', LOG_LEVEL: 'silent' }), port: 0, sweepSeconds: 1 }
    service = await compose(config, { inMemory: true, gateways: [pocket] })
    await ensureFirstClinic(service.deps)
    running = await startService(config, service, 'all')
    await post('/api/v1/bookings', {
      visit: new Date(Date.now() + 21 * 86_400_000).toISOString(),
      patient: { name: 'Ada Fenwick', phone: '613 555 0142' },
      cycle: { lmp: 'unknown' },
      consent: { recordedBy: 'desk' },
    })
    // An answer goes out at any hour; a wrong number is an urgent call.
    await pocket.reply('+16135550142', 'wrong number')
    await sweep(service.deps)
    await fetch(`${running.url}/health/ready`)
    await service.database.records.query('alter table daysix.slot rename to slot_gone')
    await post('/api/v1/bookings', {
      visit: new Date(Date.now() + 22 * 86_400_000).toISOString(),
      patient: { name: 'Ada Fenwick', phone: '613 555 0142' },
      cycle: { lmp: 'unknown' },
      consent: null,
    })
    await service.database.records.query('alter table daysix.slot_gone rename to slot')
    await eventually('something was sent', async () => (await metrics()).has('daysix_send_seconds_count'))
    samples = await metrics()
  })
  afterAll(async () => {
    await running.stop()
    await service.close()
  })

  const metrics = async () => samplesOf(await (await fetch(`${running.url}/metrics`)).text())
  const post = (path: string, body: unknown) =>
    fetch(running.url + path, {
      method: 'POST',
      headers: { 'Content-Type': 'application/json' },
      body: JSON.stringify(body),
    })

  it.each(asked)('has all that $alert looks at', (rule) => {
    const wanted = named(rule)
    expect(wanted.length).toBeGreaterThan(0)
    for (const { metric, labels } of wanted) {
      const found = samples.get(metric) ?? []
      expect(found.length, metric).toBeGreaterThan(0)
      for (const { name, is, value } of labels) {
        // What happens but seldom has not happened here: its word is held against the source, above.
        const values = found.map((sample) => sample[name])
        if (name === 'what') expect(values.every(Boolean), `${metric}{${name}}`).toBe(true)
        else if (is === '=' || is === '!=') expect(values, `${metric}{${name}}`).toContain(value)
        else if (is === '!~')
          expect(
            value.split('|').some((word) => values.includes(word)),
            `${metric}{${name}}`,
          ).toBe(true)
        else expect.fail(`${rule.alert}: say how ${name}${is} is to be checked`)
      }
    }
  })

  it('has what the alerts group by', () => {
    const groups = asked.flatMap(({ expr }) => [...expr.matchAll(/by \(([\w, ]+)\) \((?:\w+\()?(daysix_\w+)/g)])
    expect(groups.length).toBeGreaterThan(0)
    for (const [, labels, metric] of groups)
      for (const label of labels!.split(', '))
        expect(
          samples.get(metric!)!.every((sample) => label in sample),
          `${metric}{${label}}`,
        ).toBe(true)
  })
})
