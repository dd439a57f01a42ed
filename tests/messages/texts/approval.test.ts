import { readdirSync } from 'node:fs'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { openEmbedded } from '../../../src/adapters/db/embedded.ts'
import type { Database } from '../../../src/adapters/db/pool.ts'
import { openStore } from '../../../src/adapters/db/store.ts'
import { TEMPLATES } from '../../../src/adapters/templates/files.ts'
import { loadWording, type Wording } from '../../../src/adapters/templates/load-wording.ts'
import { lackingIn, neededFor } from '../../../src/domain/messages/texts/approval.ts'
import { CHANNELS, TEXT_KINDS, type Channel } from '../../../src/domain/messages/texts/kinds.ts'
import { renderText } from '../../../src/domain/messages/texts/render.ts'
import {
  ApprovalBook,
  approveTexts,
  approvedTexts,
  languagesOnOffer,
} from '../../../src/flows/messages/approved-texts.ts'
import type { Store } from '../../../src/flows/ports/deps.ts'
import { testVault } from '../../harness/servers.ts'
import { editedTemplates } from './edited-templates.ts'

const AT = new Date('2026-12-01T12:00:00Z')
const NURSE = { by: 'Nurse educator, French', on: '2026-12-01' }
const values = { clinic: 'Riverbend Medical Clinic', clinicPhone: '+1 613 555 0142', zone: 'UTC' }

test('no approval comes with Daysix: a site could only mistake it for its own', () => {
  const files = readdirSync(TEMPLATES, { recursive: true }).map(String)
  expect(files.length).toBeGreaterThan(30)
  expect(files.filter((file) => /approv/i.test(file))).toEqual([])
})

describe('a reviewer approves the very words', () => {
  const { edit, path } = editedTemplates()
  let database: Database
  let store: Store
  let book: ApprovalBook
  beforeEach(async () => {
    database = await openEmbedded(undefined)
    store = await openStore(database, testVault())
    book = new ApprovalBook(store.read.approvals)
  })
  afterEach(() => database.close())

  /** The texts as a process that starts now would have them. */
  const wording = (): Wording => loadWording(book.approvals, { folder: path() })
  const approve = async (language: string, kind = '', approval = NURSE): Promise<number> => {
    const count = await approveTexts(store, wording().reviewables, { language, kind, ...approval }, AT)
    await book.refresh()
    return count
  }
  const state = ({ library }: Wording, language: string, kind: 'help' | 'alarm' = 'help'): string =>
    renderText(library, { kind, language, channel: 'sms', detail: 'full', values }).state

  test('by role and date, and the texts of that language are fit to send, in a process that runs already', async () => {
    const running = wording()
    expect(state(running, 'fr')).toBe('draft')
    expect(await approve('fr')).toBe(running.reviewables.get('fr')!.size)
    expect(state(running, 'fr')).toBe('approved')
    expect(running.pages.get('fr')!.state).toBe('approved')
    expect(running.phrases.get('fr')!.state).toBe('approved')
    expect(running.protocols.get('liquid-based-cytology')!.answers.bath!.fr!.state).toBe('approved')
    expect(state(running, 'es')).toBe('draft')
  })

  test('another process hears of it when it looks', async () => {
    const elsewhere = new ApprovalBook(store.read.approvals)
    const there = loadWording(elsewhere.approvals, { folder: path() })
    await approve('fr')
    expect(state(there, 'fr')).toBe('draft')
    await elsewhere.refresh()
    expect(state(there, 'fr')).toBe('approved')
  })

  test('an edited text is a draft again, and its neighbours stay approved', async () => {
    await approve('en')
    edit('en/sms.yaml', 'We text you about your visit.', 'We text you on your visit.')
    edit('en/answers.yaml', 'You do not need to shave or wax for this visit.', 'No need to shave.')
    const edited = wording()
    expect([state(edited, 'en'), state(edited, 'en', 'alarm')]).toEqual(['draft', 'approved'])
    const { answers } = edited.protocols.get('liquid-based-cytology')!
    expect([answers.shave!.en!.state, answers.food!.en!.state]).toEqual(['draft', 'approved'])
  })

  test('a second reviewer may approve one kind; the rest keeps its first approval', async () => {
    await approve('fr')
    expect(await approve('fr', 'prep', { by: 'Second', on: '2026-12-09' })).toBe(10)
    const { texts } = wording().library.languages.get('fr')!
    expect(texts.get('prep.sms.full')!.approval).toEqual({ by: 'Second', on: '2026-12-09' })
    expect(texts.get('help.sms.full')!.approval).toEqual(NURSE)
  })

  test('by kind, channel or single text; what there is not is refused', async () => {
    expect(await approve('fr', 'prep.sms')).toBe(2)
    expect(await approve('fr', 'prep.voice.greeting')).toBe(1)
    // The patient's page, and the message that sends it: two texts, four parts of a call and four of an e-mail.
    expect(await approve('fr', 'page')).toBe(11)
    expect(await approve('fr', 'call')).toBe(1)
    await expect(approve('fr', 'sauna')).rejects.toThrow(/no text of this kind/)
    // Not the beginning of a kind: `late` is not `late-prep`.
    await expect(approve('fr', 'late')).rejects.toThrow(/no text of this kind/)
    await expect(approve('tlh')).rejects.toThrow(/no texts in this language/)
  })

  test('only a language that is wholly approved may be sent, or any where drafts are allowed', async () => {
    const { reviewables } = wording()
    const carriedBy = (voice: boolean) => new Set<Channel>(voice ? ['sms', 'voice'] : ['sms'])
    const texts = (voice: boolean, allowDrafts = false) =>
      approvedTexts(book, { reviewables, carried: carriedBy(voice), allowDrafts })
    expect(texts(false).sendable()).toEqual([])
    // Nothing goes out: a visit can be booked in any language, and its messages wait.
    expect(languagesOnOffer(texts(false))).toEqual([...reviewables.keys()])
    expect(texts(false, true).sendable()).toEqual([...reviewables.keys()])
    const running = texts(false)
    const some = [...TEXT_KINDS.map((name) => `${name}.sms`), 'answer.sex', 'answer.bath']
    for (const kind of some) await approve('fr', kind)
    expect(running.sendable()).toEqual([])
    expect(running.lacking('fr')).toContain('answer.tampon.avoid')
    await approve('fr', 'answer')
    await approve('fr', 'page')
    expect(running.sendable()).toEqual(['fr'])
    expect(languagesOnOffer(running)).toEqual(['fr'])
    // With a gateway that carries calls, what is spoken counts too.
    expect(texts(true).sendable()).toEqual([])
    expect(texts(true).lacking('fr')).toContain('call')
    await approve('fr')
    expect(texts(true).sendable()).toEqual(['fr'])
  })
})

const EVERY_WAY = new Set(CHANNELS)

test('wholly approved: all texts in both details, every answer and the page; with calls or e-mail, these too', () => {
  const { reviewables } = loadWording()
  const english = reviewables.get('en')!
  const texts = neededFor(english, new Set(['sms']))
  const sms = TEXT_KINDS.flatMap((kind) => [`${kind}.sms.full`, `${kind}.sms.discreet`])
  expect(texts).toEqual(expect.arrayContaining(sms))
  expect(texts).toEqual(expect.arrayContaining(['answer.sex.avoid', 'answer.prescription.say', 'page']))
  expect(texts.filter((key) => /voice|email/.test(key) || key === 'call')).toEqual([])
  const mailed = neededFor(english, new Set(['sms', 'email']))
  expect(mailed).toEqual(expect.arrayContaining(['prep.email.full', 'prep.email.subject', 'prep.email.foot']))
  expect(mailed.filter((key) => /voice/.test(key) || key === 'call')).toEqual([])
  expect(neededFor(english, EVERY_WAY)).toEqual([...english.keys()])
  expect(lackingIn('en', english, () => NURSE, EVERY_WAY)).toEqual([])
})
