import { spawnSync } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { afterAll, describe, expect, it } from 'vitest'

const DAYSIX = fileURLToPath(new URL('../../src/cli/daysix.mjs', import.meta.url))
const run = (args: string[], input = '') =>
  spawnSync(process.execPath, [DAYSIX, 'read-reply', ...args], { input, encoding: 'utf8' })

describe('daysix read-reply', () => {
  const lines = [
    {
      id: 'a',
      text: 'got my period yesterday',
      language: 'en',
      receivedAt: '2026-03-18T14:00:00-03:00',
      visit: '2026-03-20T10:30:00-03:00',
      choices: 0,
    },
    { id: 2, text: '2', receivedAt: '2026-03-18T14:00', zone: 'America/Halifax', choices: 3 },
    { id: 'late', text: 'started today', receivedAt: '2026-03-18T23:30:00-03:00' },
    { id: 'b', text: 'hello', receivedAt: 'yesterday' },
    { id: 'c', receivedAt: '2026-03-18T14:00:00-03:00' },
    { id: 'd', text: 'stop', receivedAt: '2026-03-18T14:00', zone: 'Moon/Crater' },
    {
      id: 'e',
      text: 'the Friday one',
      receivedAt: '2026-03-18T14:00:00-03:00',
      choices: 2,
      offered: ['2026-03-26T09:00:00-03:00', '2026-03-27T09:00:00-03:00'],
    },
  ]
  const { stdout, status } = run([], `${lines.map((line) => JSON.stringify(line)).join('\n')}\nnot json\n`)
  const [a, two, late, b, c, d, e, bad] = stdout
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as Record<string, unknown>)

  it('answers each line in order, echoing its id', () => {
    expect(a).toMatchObject({ id: 'a', meaning: 'period-started', startedOn: '2026-03-17' })
    expect(two).toMatchObject({ id: 2, meaning: 'choice', choice: 2 })
    expect(e).toMatchObject({ id: 'e', meaning: 'choice', choice: 2 })
  })

  it('takes "today" from the offset of the receipt when no zone is given', () => {
    expect(late).toMatchObject({ startedOn: '2026-03-18' })
  })

  it('answers a bad line with what is wrong, goes on, and exits with 2', () => {
    expect(b).toMatchObject({ id: 'b', error: { code: 'bad-input', field: 'receivedAt' } })
    expect(c).toMatchObject({ id: 'c', error: { code: 'bad-input', field: 'text' } })
    expect(d).toMatchObject({ id: 'd', error: { code: 'bad-input', field: 'zone' } })
    expect(bad).toMatchObject({ id: null, error: { code: 'bad-json' } })
    expect(status).toBe(2)
  })

  it('takes what was asked, offered and said, as they bear on what is meant', () => {
    const receivedAt = '2026-03-18T14:00:00-03:00'
    const said = [
      'Demo Clinic: Your visit is on Fri Mar 20. If your period has started, or you cannot come, reply now.',
    ]
    const inputs = [
      { id: 1, text: 'yes', receivedAt, asked: 'started' },
      { id: 2, text: 'no', receivedAt, asked: 'started' },
      { id: 3, text: 'Monday', receivedAt, asked: 'day' },
      { id: 4, text: 'yes', receivedAt, asked: 'either' },
      { id: 5, text: 'yes', receivedAt, asked: 'coming' },
      {
        id: 6,
        text: 'friday works',
        receivedAt,
        asked: 'which-time',
        offered: ['2026-03-26T09:00-03:00', '2026-03-27T09:00-03:00'],
      },
      { id: 7, text: '1', receivedAt, asked: 'which-visit', choices: 2 },
      { id: 8, text: `${said[0]} see you tomorrow`, receivedAt, said },
      { id: 9, text: 'she died', receivedAt },
      { id: 10, text: 'been bleeding for 20 days', receivedAt },
    ]
    const answers = run([], inputs.map((each) => JSON.stringify(each)).join('\n'))
    const read = answers.stdout
      .trim()
      .split('\n')
      .map((each) => JSON.parse(each) as Record<string, unknown>)
    expect(read.map(({ meaning }) => meaning)).toEqual([
      'period-started',
      'not-started',
      'period-started',
      'unclear',
      'confirm',
      'choice',
      'choice',
      'confirm',
      'died',
      'period-started',
    ])
    expect(read[0]).not.toHaveProperty('startedOn')
    expect(read[2]).toMatchObject({ startedOn: '2026-03-16' })
    expect(read[5]).toMatchObject({ choice: 2 })
    expect(read[9]).toMatchObject({ clinical: 'bleeding' })
    expect(answers.status).toBe(0)
  })

  it('names all that is wrong with a line in one message, unknown fields by name', () => {
    const inputs = [
      { id: 1, text: 'hello', receivedAt: '2026-03-18T14:00:00-03:00', recievedAt: 'x', askedWhen: true },
      { id: 2, receivedAt: 'yesterday', zone: 'Moon/Crater', asked: 'why', said: 'words' },
    ]
    const { stdout } = run([], inputs.map((each) => JSON.stringify(each)).join('\n'))
    const [unknown, many] = stdout
      .trim()
      .split('\n')
      .map((each) => JSON.parse(each) as { error: { message: string; field: string } })
    expect(unknown!.error.message).toMatch(/recievedAt.*askedWhen/)
    expect(unknown!.error.field).toBe('recievedAt, askedWhen')
    for (const field of ['text', 'receivedAt', 'zone', 'asked', 'said'])
      expect(many!.error.message).toContain(`${field}:`)
  })

  it('describes every field of its input in --help', () => {
    const { stdout } = run(['--help'])
    for (const field of [
      'id',
      'text',
      'language',
      'receivedAt',
      'zone',
      'visit',
      'choices',
      'offered',
      'asked',
      'said',
    ])
      expect(stdout).toMatch(new RegExp(`^ {2}${field} +\\S`, 'm'))
    expect(stdout).toContain('started, day, either, which-visit, which-time, coming')
  })

  const folder = mkdtempSync(join(tmpdir(), 'daysix-score-'))
  afterAll(() => rmSync(folder, { recursive: true }))

  it('scores a labelled file: a confusion table, every error, and 1 when one is dangerous', () => {
    const file = join(folder, 'labelled.tsv')
    writeFileSync(file, '# invented\nen\tstop\tSTOP\nen\tthanks\tsee you friday\nen\tstop\thello\n')
    const scored = run(['--score', file])
    expect(scored.stdout).toMatch(/1 of 3 right \(33\.3 %\), 1 dangerous/)
    expect(scored.stdout).toMatch(/! en "hello": stop/)
    expect(scored.stdout).toMatch(/^ {2}en "see you friday": thanks , read as confirm$/m)
    expect(scored.status).toBe(1)
  })
})
