import { spawnSync } from 'node:child_process'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { describe, expect, test } from 'vitest'

const daysix = fileURLToPath(new URL('../../../src/cli/daysix.mjs', import.meta.url))

function run(args: string[], lines: object[] = []): { out: string; status: number | null } {
  const input = lines.map((line) => JSON.stringify(line)).join('\n')
  // No database is at hand: nothing is approved.
  const env = { ...process.env, DATABASE_URL: '', DATA_DIR: join(tmpdir(), 'daysix-that-is-not-there') }
  const { stdout, status } = spawnSync(process.execPath, [daysix, ...args], { input, encoding: 'utf8', env })
  return { out: stdout, status }
}

const asked = { language: 'fr', channel: 'sms', detail: 'full', visit: '2026-03-20T10:30', zone: 'America/Halifax' }

describe('daysix text', () => {
  test('renders each line in order, echoes its id, and goes on after a bad one', () => {
    const { out, status } = run(
      ['text'],
      [
        { id: 'a', kind: 'prep', ...asked },
        { id: 2, kind: 'dance', ...asked },
        { id: 'c', kind: 'moved', language: 'en', visit: '2026-03-20T10:30:00-03:00' },
        { id: 'd', kind: 'moved', language: 'en', visit: '2026-03-20T10:30' },
        { id: 'e', kind: 'answer', ...asked, language: 'en', topic: 'sex' },
        { id: 'f', kind: 'offer', ...asked, language: 'en', choices: ['2026-03-26T10:00', '2026-03-27T15:20'] },
        { id: 'g', kind: 'prep', ...asked, channel: 'voice', voicePart: 'voicemail' },
        { id: 'h', kind: 'answer', ...asked, topic: 'sauna' },
        { id: 'i', kind: 'alarm', ...asked, emergency: '112' },
        { id: 'j', kind: 'alarm', ...asked, emergency: '112 or 18' },
        { id: 'k', kind: 'prep', ...asked, channel: 'email' },
        { id: 'l', kind: 'alarm', ...asked, channel: 'email' },
      ],
    )
    const [a, b, c, d, e, f, g, h, i, j, k, l] = out
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line) as Record<string, never>)
    expect(status).toBe(2)
    expect(a).toMatchObject({
      id: 'a',
      encoding: 'GSM-7',
      segments: 1,
      text: expect.stringContaining('Du mer 18 mars 10h30 au RDV'),
    })
    expect(a!.grade).toBeLessThanOrEqual(6)
    expect(b).toMatchObject({ id: 2, error: { code: 'bad-input', field: 'kind' } })
    expect(c!.text).toContain('Fri Mar 20 10:30am')
    expect(d).toMatchObject({ id: 'd', error: { code: 'bad-input', field: 'zone' } })
    expect(e!.text).toContain('48 hours')
    expect(f!.text).toContain('1: Thu Mar 26 10:00am\n2: Fri Mar 27 3:20pm\nReply 1 or 2.')
    expect(g).toMatchObject({ segments: 0, text: expect.stringContaining('+1, 6 1 3, 5 5 5, 0 1 4 2') })
    expect(h).toMatchObject({ id: 'h', error: { code: 'bad-input', field: 'topic' } })
    expect(i!.text).toContain('faites le 112.')
    expect(j).toMatchObject({ id: 'j', error: { code: 'bad-input', field: 'emergency' } })
    expect(k).toMatchObject({
      subject: 'Riverbend Medical Clinic: au sujet de votre visite',
      text: expect.stringMatching(/mercredi 18 mars, à 10 heures 30.*Votre page: https:/s),
      segments: 0,
    })
    expect(l).toMatchObject({ id: 'l', error: { code: 'bad-input', field: 'kind' } })
    expect(a).not.toHaveProperty('subject')
  })
})

describe('daysix texts', () => {
  test('lists every text of a language with encoding, segments, grade and state, and is content', () => {
    const { out, status } = run(['texts', '--language', 'en', '--json'])
    const rows = JSON.parse(out) as Record<string, unknown>[]
    expect(status).toBe(0)
    expect(rows).toHaveLength(25 * (2 + 4) + 11 * 4)
    expect(rows.find(({ kind, part }) => kind === 'prep' && part === 'full')).toMatchObject({
      language: 'en',
      channel: 'sms',
      encoding: 'GSM-7',
      units: 160,
      segments: 1,
      state: 'draft',
      overBudget: null,
    })
  })

  test('shows the alarm with the number that the clinic has set', () => {
    const { out } = run(['texts', '--language', 'fr', '--json', '--emergency', '112'])
    const rows = JSON.parse(out) as Record<string, string>[]
    expect(rows.find(({ kind, part }) => kind === 'alarm' && part === 'full')!.text).toContain('faites le 112.')
    expect(run(['texts', '--emergency', 'nine one one'])).toMatchObject({ out: '', status: 2 })
  })

  test('fails when the name of the clinic breaks the budget, and says by what', () => {
    const { out, status } = run(['texts', '--language', 'fr', '--clinic', 'Clinique de santé de la Grande-Rivière'])
    expect(status).toBe(1)
    expect(out).toMatch(/fr\s+prep\s+sms full\s+GSM-7\s+\d+\s+2\s.*OVER BUDGET: 2 segments/)
  })
})
