import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it, onTestFinished, vi } from 'vitest'
import { createSmtpGateway } from '../../src/adapters/gateways/smtp/smtp-gateway.ts'
import type { Outgoing, SendOutcome } from '../../src/flows/ports/gateway.ts'
import { SOON } from '../harness/patience.ts'
import { letterTo } from './contract.ts'
import { Exim, eximPresent } from './peers/exim.ts'
import { Program } from './peers/programs.ts'
import { recordingEars } from './recording-ears.ts'

// A whole mail server at the end of the line. What lies in the mailbox is read by Python's email package.

const PORT = 36_400

describe.skipIf(!eximPresent())('with Exim, into a mailbox', () => {
  let exim: Exim
  beforeAll(async () => void (exim = await Exim.start(PORT)))
  afterAll(() => exim.stop())

  const described = (changes: object = {}) => ({
    ...{ kind: 'smtp', name: 'mail', host: '127.0.0.1', port: PORT, tls: { mode: 'starttls', caFile: exim.caFile } },
    ...{ auth: { user: 'clinic', password: 'env:MAIL' }, answerMs: 20_000 },
    from: { address: 'visits@clinic.example', name: 'Clinique Ste‑Ada, “vaccins”' },
    ...{ replyTo: 'desk@clinic.example', ...changes },
  })
  async function send(changes: object, message: Partial<Outgoing>, password = 'secret') {
    const gateway = createSmtpGateway(described(changes), {
      ...{ clock: { now: () => new Date() }, secret: () => password },
    })
    await gateway.start(recordingEars())
    const outgoing = { ...letterTo('+16135550142'), to: 'ada@patients.example', ...message }
    const outcome = await gateway.send(outgoing)
    await gateway.stop()
    return { outcome, outgoing }
  }

  it.each([
    ['punctuation of e-mail', 'Visit at 9:30.\n.\n..\n.dot\nFrom here\n>From\n--\n=3D =\n\n-- \nFoot'],
    ['blanks', 'two  blanks, a tab\t, at the end  \n   at the beginning\n\n\nthree line ends\t\n \n.'],
    ['a long line', `${'https://clinic.example/page/'.padEnd(1_200, 'a1-_')} ${'words and words '.repeat(120)}.`],
    ['French', 'Votre visite à l’hôpital est le 20 mars à 9 h 30 : ça va ? 100 € – « œuf »'],
    ['Punjabi', 'ਤੁਹਾਡੀ ਮੁਲਾਕਾਤ 20 ਮਾਰਚ ਨੂੰ ਸਵੇਰੇ 9:30 ਵਜੇ ਹੈ। '.repeat(9).trim()],
    ['Ukrainian', `${'Ваш візит 20 березня о 9:30. '.repeat(20)}\n.Їжак’є`],
    ['emoji', '👩🏽‍⚕️ 😀 e\u0301 \u202fnarrow \u00a0hard'],
  ])('brings a text as it was, character for character: %s', async (subject, text) => {
    const before = exim.letters().length
    const { outcome, outgoing } = await send({}, { text, subject: `${subject}: ${text.split('\n')[0]!.slice(0, 60)}` })
    expect(outcome).toEqual({ kind: 'accepted', ref: `${outgoing.id}@clinic.example` })
    await vi.waitFor(() => expect(exim.letters()).toHaveLength(before + 1), SOON)
    const letter = exim.letters().at(-1)!
    // Its last line ends, as every line of a letter must (RFC 5322 §2.1).
    expect(letter.text).toBe(`${text}\n`)
    expect(letter.type).toBe('text/plain')
    const header = (name: string) => letter.headers.filter(([found]) => found === name).map(([, value]) => value)
    expect(header('Subject')).toEqual([outgoing.subject])
    expect(header('To')).toEqual(['ada@patients.example'])
    expect(header('From')).toEqual(['Clinique Ste‑Ada, “vaccins” <visits@clinic.example>'])
    expect(header('Reply-To')).toEqual(['desk@clinic.example'])
    expect(header('Message-ID')).toEqual([`<${outgoing.id}@clinic.example>`])
    expect(header('Auto-Submitted')).toEqual(['auto-generated']) // RFC 3834 §5.1
    expect(Math.abs(Date.parse(header('Date')[0]!) - Date.now())).toBeLessThan(120_000)
    // No others, but for those that the server adds.
    expect(letter.headers.map(([name]) => name).sort()).toEqual(
      ['Auto-Submitted', 'Content-Transfer-Encoding', 'Content-Type', 'Date', 'From', 'MIME-Version', 'Message-ID']
        .concat(['Received', 'Reply-To', 'Subject', 'To'])
        .sort(),
    )
    // RFC 2045 §6.7: no line of more than 76 signs.
    const body = letter.wire.slice(letter.wire.indexOf('\n\n') + 2)
    expect(Math.max(...body.split('\n').map((line) => line.length))).toBeLessThanOrEqual(76)
  })

  it('has no header but one, whatever a subject holds', async () => {
    const before = exim.letters().length
    const subject = 'Visit\r\nBcc: eve@patients.example\r\n\r\nNew body'
    expect((await send({}, { subject })).outcome.kind).toBe('accepted')
    await vi.waitFor(() => expect(exim.letters()).toHaveLength(before + 1), SOON)
    const { headers, text } = exim.letters().at(-1)!
    expect(headers.map(([name]) => name)).not.toContain('Bcc')
    expect(text).toBe('Your visit is on 20 March.\n')
  })

  interface Told {
    changes?: { port: number }
    implicit?: true
    to?: string
    password?: string
    expected: SendOutcome
  }

  it.each<[string, Told]>([
    ['TLS from the beginning', { changes: { port: PORT + 1 }, implicit: true, expected: { kind: 'accepted' } }],
    ['a wrong password', { password: 'guess', expected: { kind: 'misconfigured', code: 'auth-refused' } }],
    ['an unknown mailbox', { to: 'bob@patients.example', expected: { kind: 'rejected', code: 'smtp-550' } }],
    [
      'a server without STARTTLS',
      { changes: { port: PORT + 2 }, expected: { kind: 'misconfigured', code: 'no-starttls' } },
    ],
  ])('is told of %s', async (_, { changes, implicit, to = 'ada@patients.example', password, expected }) => {
    const tls = implicit && { tls: { mode: 'implicit', caFile: exim.caFile } }
    expect((await send({ ...changes, ...tls }, { to }, password)).outcome).toMatchObject(expected)
  })

  /** What `daysix gateway-check` prints. */
  async function checked(changes: object, to: string, password = 'secret') {
    const folder = mkdtempSync(join(tmpdir(), 'daysix-check-'))
    onTestFinished(() => rmSync(folder, { recursive: true }))
    writeFileSync(join(folder, 'mail.json'), JSON.stringify(described(changes)))
    const daysix = new URL('../../src/cli/daysix.mjs', import.meta.url).pathname
    const args = [daysix, 'gateway-check', 'mail', '--to', to, '--gateways', folder]
    const run = new Program(process.execPath, args, { MAIL: password })
    const code = await run.ended()
    return { code, text: run.lines.join('\n') }
  }

  it('can be checked by the command', async () => {
    const { code, text } = await checked({}, 'ada@patients.example')
    expect(text).toMatch(/^send +accepted .*its id is \S+@clinic\.example/m)
    expect(text).toMatch(/^receipt +none comes by e-mail\. Look at the mailbox/m)
    expect(code).toBe(0)
    expect(exim.letters().at(-1)!.headers).toContainEqual(['Subject', 'Test of the message gateway'])
  })

  it.each([
    ['a wrong password', {}, 'ada@patients.example', 'guess', /Check auth\.user.*\(auth-refused\)/, 1],
    ['no STARTTLS', { port: PORT + 2 }, 'ada@patients.example', 'secret', /tls\.mode: implicit.*\(no-starttls\)/, 1],
    ['no authority', { tls: { mode: 'starttls' } }, 'ada@patients.example', 'secret', /\(tls-untrusted\)/, 1],
    ['nobody there', { port: 36_499 }, 'ada@patients.example', 'secret', /nobody listens there.*\(econnrefused\)/, 1],
    ['a number', {}, '+16135550142', 'secret', /^refused +This is not one e-mail address/m, 2],
    [
      'a password in the clear',
      { host: 'mail.example', tls: { mode: 'none' } },
      ...(['ada@patients.example', 'secret', /auth: A password would travel in the clear/, 2] as const),
    ],
    [
      'several faults',
      { from: { address: 'a@x.example, b@x.example' }, replyTo: 'x', allow: ['X'], tls: { mode: 'maybe' } },
      ...([
        'ada@patients.example',
        'secret',
        /tls\.mode: .*\n.*from\.address: .*\n.*replyTo: .*\n.*allow\.0: /,
        2,
      ] as const),
    ],
  ])('is told by the command of %s', async (_, changes, to, password, says, expected) => {
    const { code, text } = await checked(changes, to, password)
    expect(text).toMatch(says)
    expect(code).toBe(expected)
  })
})
