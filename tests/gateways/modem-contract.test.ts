import { existsSync, mkdtempSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, vi } from 'vitest'
import { createModemGateway } from '../../src/adapters/gateways/modem/modem-gateway.ts'
import { SOON } from '../harness/patience.ts'
import { gatewayContract } from './contract.ts'
import { PATIENT, type Fate } from './fates.ts'
import { present, Program } from './peers/programs.ts'
import { recordingEars } from './recording-ears.ts'

// The peer is gammu-smsd 1.42 with its dummy driver: it reads our files and writes its own, and its log says what it
// took for the text. Numbers reserved for fiction.

const always = 'the dummy driver sends whatever it is given, at once'
const never = 'it sends no receipts by files'
const CANNOT: Partial<Record<Fate, string>> = {
  ...{ reject: always, later: always, throttle: always, slow: always, drop: always, silent: always },
  ...{ twice: never, noReceipt: never, earlyReceipt: never, undelivered: never },
}

describe.skipIf(!present('gammu-smsd', ['--version']))('with gammu-smsd', () => {
  gatewayContract(
    'modem',
    async () => {
      const home = mkdtempSync(join(tmpdir(), 'daysix-modem-'))
      const folder = (name: string) => join(home, name)
      for (const name of ['dummy', 'dummy/sms', 'dummy/sms/1', 'inbox', 'outbox', 'sent', 'error'])
        mkdirSync(folder(name))
      writeFileSync(folder('smsd.rc'), settings(home))
      const daemon = new Program('gammu-smsd', ['-c', folder('smsd.rc')])
      await vi.waitUntil(() => existsSync(folder('smsd.log')), SOON)
      const [outbox, sent, error, inbox] = ['outbox', 'sent', 'error', 'inbox'].map(folder) as [
        string,
        string,
        string,
        string,
      ]
      const gateway = createModemGateway(
        { kind: 'modem', name: 'modem', outbox, sent, error, inbox, perMinute: 60, patienceSeconds: 60 },
        { clock: { now: () => new Date() } },
      )
      const ears = recordingEars()
      await gateway.start(ears)
      let said = 0
      return {
        gateway,
        ears,
        taken: async (number) =>
          [...readFileSync(folder('smsd.log'), 'utf8').matchAll(/sms to "([^"]*)" with text "(.*)" cod /g)]
            .filter(([, to]) => to === number)
            .map(([, , text]) => text!),
        say: async (text) =>
          backups(text, ++said).forEach((file, n) => writeFileSync(folder(`dummy/sms/1/${n + 1}`), file)),
        close: async () => {
          await gateway.stop()
          await daemon.stop()
          rmSync(home, { recursive: true })
        },
      }
    },
    // Its log tells the words of the first part only: see modem.test.ts for them.
    { silent: true, counted: true, cannot: CANNOT },
  )
})

const settings = (home: string) => `[gammu]
port = ${home}/dummy
model = dummy
connection = none
[smsd]
service = files
logfile = ${home}/smsd.log
inboxpath = ${home}/inbox/
outboxpath = ${home}/outbox/
sentsmspath = ${home}/sent/
errorsmspath = ${home}/error/
inboxformat = unicode
outboxformat = unicode
receivefrequency = 1
loopsleep = 1
checksecurity = 0
checkbattery = 0
checksignal = 0
checknetwork = 0
debuglevel = 1
`

/** What the dummy driver takes for texts that came in: its own backup files, one for each part of 67 letters. */
function backups(text: string, serial: number): string[] {
  const parts = text.length <= 70 ? [text] : (text.match(/[\s\S]{1,67}/g) ?? [])
  return parts.map((part, n) => {
    const hex = Buffer.from(part, 'utf16le').swap16().toString('hex').toUpperCase()
    const udh = parts.length === 1 ? '' : `UDH = 050003${[serial, parts.length, n + 1].map(octet).join('')}\n`
    return `[SMSBackup000]
PDU = Deliver
DateTime = 20260317T1500${String(serial).padStart(2, '0')}
State = UnRead
Number = "${PATIENT}"
Coding = Unicode_No_Compression
Folder = 1
Length = ${part.length}
${udh}Class = -1
ReplySMSC = False
RejectDuplicates = False
ReplaceMessage = 0
MessageReference = 0
Text00 = ${hex.slice(0, 200)}
${hex.length > 200 ? `Text01 = ${hex.slice(200)}\n` : ''}`
  })
}

const octet = (value: number) => value.toString(16).padStart(2, '0').toUpperCase()
