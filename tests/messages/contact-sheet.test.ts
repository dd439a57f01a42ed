import { describe, expect, test } from 'vitest'
import { renderContactSheet, type ContactSheet } from '../../src/adapters/http/messages/contact-sheet.ts'
import { urgentWords } from '../../src/adapters/http/private-page/patient-page.ts'
import { escapeHtml } from '../../src/adapters/http/pages/html.ts'
import { answersByLanguage, EXAMPLE_SITE } from '../../src/cli/example-site.ts'
import { surveyTexts } from '../../src/domain/messages/texts/survey.ts'
import { REVIEWER } from '../harness/approvals.ts'
import { LANGUAGES, library, pageTexts, protocols, wording } from '../private-page/example-page.ts'

const rows = surveyTexts(library, { ...EXAMPLE_SITE, answers: answersByLanguage(protocols.values()) })
const sheet = (code: string, more: Partial<ContactSheet> = {}): string =>
  renderContactSheet({
    language: library.languages.get(code)!,
    rows,
    wording,
    emergency: null,
    path: '/review/texts',
    ...more,
  })

describe('the contact sheet', () => {
  test('shows a reviewer every text, answer, key of a call and sentence of the page, in each language', () => {
    for (const code of LANGUAGES) {
      const shown = sheet(code)
      for (const { text } of rows.filter(({ language }) => language === code)) expect(shown).toContain(escapeHtml(text))
      for (const sentence of answersByLanguage(protocols.values())[code]!) expect(shown).toContain(escapeHtml(sentence))
      const words = pageTexts.get(code)!.words
      expect(shown).toContain(escapeHtml(urgentWords(words, library.languages.get(code)!, null).text))
      for (const said of Object.values(wording.phrases.get(code)!.says)) expect(shown).toContain(escapeHtml(said))
    }
  })

  test('shows the English beside another language, and words that kinds share only once', () => {
    const shown = sheet('fr')
    const greeting = rows.find(({ language, part }) => language === 'fr' && part === 'greeting')!.text
    expect(shown.split(escapeHtml(greeting))).toHaveLength(2)
    expect(shown).toContain(
      escapeHtml(
        rows.find(({ language, kind, part }) => language === 'en' && kind === 'prep' && part === 'full')!.text,
      ),
    )
    expect(sheet('en')).not.toContain('words english')
  })

  test('shows e-mail by its parts: the subject and the foot once, for all kinds', () => {
    const shown = sheet('uk')
    for (const part of ['subject', 'full', 'discreet', 'foot']) expect(shown).toContain(`<h3>E-mail, ${part}</h3>`)
    for (const part of ['subject', 'foot']) expect(shown.split(`<h3>E-mail, ${part}</h3>`)).toHaveLength(2)
  })

  test('says what each SMS costs, how hard it is to read, and who approved it', () => {
    expect(sheet('en')).toContain(
      `GSM-7, 160 units, 1 segment · reading grade 4.3 · approved by ${REVIEWER.by} on ${REVIEWER.on}`,
    )
    expect(sheet('en')).toContain('All are approved.')
    expect(sheet('uk')).toMatch(/\d+ are drafts, until your clinic approves them\./)
  })

  test('shows the words about an emergency as this clinic’s patients get them', () => {
    expect(sheet('en')).toContain('answer, call your local emergency number.')
    expect(sheet('en', { emergency: '112' })).toContain('answer, call 112.')
    expect(sheet('uk', { emergency: '112' })).toContain('телефонуйте за номером 112.')
  })

  test('switches language in the service, and is one file with its style where there is no service', () => {
    expect(sheet('fr')).toContain('href="/review/texts?lang=uk"')
    const file = sheet('fr', { path: null, css: 'body { color: #000 } /* "x" </style> */' })
    expect(file).toContain('<style>body { color: #000 } /* "x" <\\/style> */</style>')
    expect(file).not.toMatch(/href=/)
  })
})
