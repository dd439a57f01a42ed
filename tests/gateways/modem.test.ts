import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  readdirSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { createModemGateway } from '../../src/adapters/gateways/modem/modem-gateway.ts'
import type { Gateway } from '../../src/flows/ports/gateway.ts'
import { SOON } from '../harness/patience.ts'
import { message } from './contract.ts'
import { FATES, PATIENT } from './fates.ts'
import { recordingEars } from './recording-ears.ts'

// Files as gammu-smsd 1.42 was seen to write and read them; the daemon itself is in modem-contract.test.ts.

let home: string
let gateway: Gateway
let ears: ReturnType<typeof recordingEars>
const folder = (name: string) => join(home, name)
const files = (name: string) => readdirSync(folder(name)).filter((file) => !file.startsWith('.'))
const utf16 = (text: string) => Buffer.from(`\ufeff${text}`, 'utf16le').swap16()

async function open(patienceSeconds: number): Promise<void> {
  const [outbox, sent, error, inbox] = ['outbox', 'sent', 'error', 'inbox'].map(folder)
  const described = { kind: 'modem', name: 'modem', outbox, sent, error, inbox, perMinute: 60, patienceSeconds }
  gateway = createModemGateway(described, { clock: { now: () => new Date() } })
  ears = recordingEars()
  await gateway.start(ears)
}

/** Does with the next text in the outbox what a daemon would. */
async function daemon(to: 'sent' | 'error'): Promise<string> {
  await vi.waitUntil(() => files('outbox').length > 0, SOON)
  const [name] = files('outbox')
  const text = readFileSync(join(folder('outbox'), name!))
    .swap16()
    .toString('utf16le')
  renameSync(join(folder('outbox'), name!), join(folder(to), name!))
  return text
}

beforeEach(() => {
  home = mkdtempSync(join(tmpdir(), 'daysix-modem-'))
  for (const name of ['outbox', 'sent', 'error', 'inbox']) mkdirSync(folder(name))
})
afterEach(async () => {
  await gateway.stop()
  rmSync(home, { recursive: true })
})

describe('a text for the modem', () => {
  it('is a file for that number, sign for sign, and leaves none behind', async () => {
    await open(30)
    const outgoing = message(FATES.accept, 'Vu à l’hôpital: ç, 😀')
    const sending = gateway.send(outgoing)
    await vi.waitUntil(() => files('outbox').length > 0, SOON)
    expect(files('outbox')[0]).toMatch(new RegExp(`^OUTC\\d{8}_\\d{6}_00_\\${FATES.accept}_${outgoing.id}\\.txt$`))
    expect(await daemon('sent')).toBe('\ufeffVu à l’hôpital: ç, 😀')
    expect((await sending).kind).toBe('accepted')
    expect([...files('outbox'), ...files('sent')]).toEqual([])
  })

  it('that failed is tried again, unless a part of it may have gone out', async () => {
    await open(30)
    const short = gateway.send(message(FATES.accept, 'short'))
    await daemon('error')
    expect(await short).toEqual({ kind: 'later', code: 'modem-error' })
    await new Promise((resume) => setTimeout(resume, 1_000))
    const long = gateway.send(message(FATES.accept, 'x'.repeat(200)))
    await daemon('error')
    expect(await long).toEqual({ kind: 'unknown', code: 'modem-error' })
    expect(files('error')).toEqual([])
  })

  it('that nobody fetches is taken back: it does not go out tomorrow', async () => {
    await open(5)
    expect(await gateway.send(message(FATES.accept))).toEqual({ kind: 'later', code: 'modem-silent' })
    expect(files('outbox')).toEqual([])
    expect(gateway.health?.()).toMatchObject({ ok: false, code: 'modem-silent' })
  })

  it('without its folder is a fault of the settings', async () => {
    await open(5)
    rmSync(folder('outbox'), { recursive: true })
    expect(await gateway.send(message(FATES.accept))).toEqual({ kind: 'misconfigured', code: 'no-outbox' })
  })
})

describe('a text that came in', () => {
  const put = (part: string, text: string) =>
    writeFileSync(join(folder('inbox'), `IN20260317_150001_00_${PATIENT}_${part}.txt`), utf16(text))

  it('of several parts is one, in their order, and is removed once it is kept', async () => {
    await open(5)
    put('01', 'commencé 😀')
    put('00', 'ça a ')
    await vi.waitFor(() => expect(ears.heards.map(({ text }) => text)).toEqual(['ça a commencé 😀']), SOON)
    await vi.waitFor(() => expect(files('inbox')).toEqual([]), SOON)
  })

  it('ends with the zero that ends it, whatever stands behind', async () => {
    await open(5)
    put('00', 'ça a commencé 😀\0€ [')
    await vi.waitFor(() => expect(ears.heards.map(({ text }) => text)).toEqual(['ça a commencé 😀']), SOON)
  })

  it('from a short code or a name is nobody to answer', async () => {
    await open(5)
    writeFileSync(join(folder('inbox'), 'IN20260317_150001_00_BANK_00.txt'), utf16('Your code'))
    await vi.waitFor(() => expect(files('inbox')).toEqual([]), SOON)
    expect(ears.heards).toEqual([])
    expect(existsSync(folder('inbox'))).toBe(true)
  })
})
