import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { TEMPLATES } from '../../../src/adapters/templates/files.ts'
import { loadPageTexts } from '../../../src/adapters/templates/load-page.ts'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import { EXAMPLE_SITE } from '../../../src/cli/example-site.ts'
import type { Approvals } from '../../../src/domain/messages/texts/approval.ts'
import { MAILED_KINDS, type TextKind, type TextValues } from '../../../src/domain/messages/texts/kinds.ts'
import { renderText, type RenderedText } from '../../../src/domain/messages/texts/render.ts'
import { badWords } from '../../../src/domain/messages/texts/text-rules.ts'
import { editedTemplates, faults } from './edited-templates.ts'

const library = loadTexts()
const LANGUAGES = [...library.languages.keys()]
const values: TextValues = {
  ...EXAMPLE_SITE,
  zone: 'America/Halifax',
  visit: new Date('2026-03-20T13:30:00Z'),
  mark: new Date('2026-03-18T13:30:00Z'),
  answer: 'A bath is fine.',
}
const DETAILS = ['full', 'discreet'] as const
type Detail = (typeof DETAILS)[number]

function mail(
  kind: TextKind,
  language: string,
  { detail = 'full', texts = library, ...more }: { detail?: Detail; texts?: typeof library } & Partial<TextValues> = {},
): RenderedText {
  return renderText(texts, { kind, language, channel: 'email', detail, values: { ...values, ...more } })
}

describe.each(LANGUAGES)('e-mail in %s', (language) => {
  test('is a subject, what the message says, and how to reach the clinic, beneath every kind that may go by mail', () => {
    const subjects = MAILED_KINDS.flatMap((kind) =>
      DETAILS.map((detail) => {
        const { text, subject, segments } = mail(kind, language, { detail })
        const [body, foot] = [text.slice(0, text.lastIndexOf('\n\n')), text.slice(text.lastIndexOf('\n\n') + 2)]
        expect(text + subject, kind).not.toMatch(/[{}]|undefined/)
        // A confirmation that follows preparation leaves these words out.
        expect(body.startsWith(`${EXAMPLE_SITE.clinic}: `), body).toBe(true)
        expect(foot).toContain(EXAMPLE_SITE.clinicPhone)
        expect(foot.split('\n')).toEqual([
          expect.anything(),
          expect.stringContaining(EXAMPLE_SITE.page),
          expect.anything(),
        ])
        expect(segments).toBe(0)
        return subject!
      }),
    )
    expect(new Set(subjects).size).toBe(1)
    expect(subjects[0]).toContain(EXAMPLE_SITE.clinic)
    expect(subjects[0]).not.toContain('\n')
  })

  test('tells a bystander nothing: subject, foot and discreet text as they are sent', () => {
    const { telling } = library.languages.get(language)!
    for (const kind of MAILED_KINDS) {
      const { text, subject } = mail(kind, language, { detail: 'discreet' })
      const written = `${subject}\n${text}`.replaceAll(EXAMPLE_SITE.page, '')
      expect(badWords(written, telling), kind).toEqual([])
    }
  })

  test('is of its own language: nothing was left as the English has it', () => {
    const words = (code: string): string[] =>
      [...library.languages.get(code)!.texts.values()]
        .filter(({ channel, kind, part }) => channel === 'email' && !(kind === 'answer' && part === 'full'))
        .map((text) => text.words)
    const english = new Set(language === 'en' ? [] : words('en'))
    expect(words(language).filter((said) => english.has(said))).toEqual([])
  })
})

/** “Keep taking what was prescribed”, as each language says it. */
const KEEP_TAKING: Record<string, RegExp> = {
  en: /Keep taking .*prescribed/,
  es: /Siga .*recetaron/,
  fr: /Continuez .*prescrit/,
  pa: /ਡਾਕਟਰ ਦੀ ਲਿਖੀ ਦਵਾਈ ਜਾਰੀ ਰੱਖੋ/,
  uk: /[Пп]ризначені Вам ліки не припиняйте/,
}

describe.each(LANGUAGES)('what e-mail in %s says of preparation', (language) => {
  const { telling, rules } = library.languages.get(language)!

  test('names every rule in full, and that prescribed medicine goes on', () => {
    // Not the usual four: a language may say these in one phrase.
    const avoid = Object.keys(rules)
    for (const kind of ['prep', 'late-prep'] as const) {
      const { text } = mail(kind, language, { avoid })
      for (const rule of avoid) expect(text, kind).toContain(rules[rule]!.long)
      expect(text).toMatch(KEEP_TAKING[language]!)
      expect(mail(kind, language).text).toMatch(KEEP_TAKING[language]!)
    }
  })

  test('asks nobody without periods about one', () => {
    for (const kind of ['prep', 'day-before'] as const) {
      const text = mail(kind, language, { periods: false }).text.toLowerCase()
      for (const word of telling.slice(0, 2)) expect(text, kind).not.toContain(word)
      expect(mail(kind, language).text.length).toBeGreaterThan(text.length)
    }
  })

  test('promises no instructions where there is nothing to avoid', () => {
    for (const kind of ['confirmation', 'moved'] as const)
      expect(mail(kind, language, { avoid: [] }).text.length).toBeLessThan(mail(kind, language).text.length)
  })

  test('asks nobody to text a word: an e-mail is answered and ended on the page', () => {
    const { stop, start, undo } = library.languages.get(language)!.keywords
    for (const kind of MAILED_KINDS)
      for (const keyword of [stop, start, undo]) expect(mail(kind, language).text, kind).not.toContain(keyword)
  })
})

test('e-mail has room: days and months are written out, and rules have their long names', () => {
  expect(mail('prep', 'en', { avoid: ['lubricant', 'vaginal-medicine'] }).text.split('\n')[0]).toBe(
    'Riverbend Medical Clinic: Your visit is on Friday, March 20, at 10:30 in the morning. From Wednesday, March 18, ' +
      'at 10:30 in the morning until your visit, please avoid: lubricant or vaginal cream bought without a prescription.',
  )
})

test('nothing urgent and nothing that waits for a number goes by e-mail', () => {
  for (const kind of ['alarm', 'offer', 'which-visit', 'help', 'stopped'] as const)
    expect(() => mail(kind, 'en')).toThrow(
      expect.objectContaining({ detail: expect.objectContaining({ field: 'kind' }) }),
    )
})

test('an e-mail is a draft until its words, its subject and its foot are all approved', () => {
  const parts = ['prep.email.full', 'prep.email.subject', 'prep.email.foot']
  const but =
    (left?: string): Approvals =>
    (_language, key) =>
      parts.includes(key) && key !== left ? { by: 'Nurse educator', on: '2026-12-01' } : undefined
  const state = (approvals: Approvals): string => mail('prep', 'en', { texts: loadTexts(TEMPLATES, approvals) }).state
  expect(state(but())).toBe('approved')
  for (const part of parts) expect(state(but(part)), part).toBe('draft')
})

/** What stands between the quotation marks of the language. */
const quoted = (words: string): string[] => [...words.matchAll(/[“«]\s?(.+?)\s?[”»]/gu)].map(([, said]) => said!)
const TELLS_TO_PRESS = [
  'prep.full',
  'prep.discreet',
  'late-prep.full',
  'late-prep.discreet',
  'moved.full',
  'moved.discreet',
]

describe('a mistake in mail.yaml', () => {
  const { edit, path } = editedTemplates()
  const mistakes = () => faults(() => loadTexts(path()))
  /** Texts that quote another button than that of the page, or none where they must quote it. */
  function wrongButtons(language: string): string[] {
    const { button } = loadPageTexts(path()).get(language)!.words.read
    const { texts } = parse(readFileSync(path(`${language}/mail.yaml`), 'utf8')) as {
      texts: Record<string, Record<string, string>>
    }
    return Object.entries(texts).flatMap(([kind, parts]) =>
      Object.entries(parts).flatMap(([part, words]) => {
        const due = TELLS_TO_PRESS.includes(`${kind}.${part}`) ? [button] : []
        return quoted(words).join() === due.join() ? [] : [`${kind}.${part}`]
      }),
    )
  }

  test.each(LANGUAGES)('the button that an e-mail in %s tells to press is the one on the page', (language) => {
    expect(wrongButtons(language)).toEqual([])
    const { button } = loadPageTexts(path()).get(language)!.words.read
    edit(`${language}/mail.yaml`, button, `${button}!`)
    expect(wrongButtons(language)).toEqual(['prep.full'])
    edit(`${language}/page.yaml`, button, 'OK')
    expect(wrongButtons(language)).toEqual(TELLS_TO_PRESS)
  })

  test('that tells a bystander what the visit is for stops the start', () => {
    edit('en/mail.yaml', 'about your visit', 'about your smear')
    edit('es/mail.yaml', 'dejar de recibir estos correos', 'leer sobre la muestra')
    edit('fr/mail.yaml', 'Nous avons une question pour vous.', 'Une question sur vos règles.')
    edit('uk/mail.yaml', 'Прочитайте зараз, як підготуватися до візиту.', 'Уникайте {avoid}.')
    expect(mistakes()).toEqual(
      expect.arrayContaining([
        'en/mail.yaml › prep.subject: A discreet text may not say “smear”.',
        'es/mail.yaml › prep.foot: A discreet text may not say “muestra”.',
        'fr/mail.yaml › cycle-check.discreet: A discreet text may not say “règles”.',
        'uk/mail.yaml › late-prep.discreet: A discreet text may not say {avoid}.',
      ]),
    )
  })

  test('that speaks of a result, leaves a value out, or names a kind that never goes by e-mail', () => {
    edit('en/mail.yaml', 'Keep taking or using', 'Your result is here. Keep taking or using')
    edit('en/mail.yaml', '    Your page: {page}\n', '')
    edit('en/mail.yaml', 'please avoid: {avoid}', 'please read your page')
    edit('pa/mail.yaml', "'{clinic}: ", "'")
    edit('fr/mail.yaml', '  cancelled:\n', '  alarm:\n')
    const found = mistakes()
    expect(found).toEqual(
      expect.arrayContaining([
        'en/mail.yaml › prep.full: It speaks of a result or a diagnosis: “result”.',
        'en/mail.yaml › prep.foot: It must say {page}.',
        'en/mail.yaml › prep.full: It must say {avoid}.',
        'pa/mail.yaml › prep.subject: It must say {clinic}.',
      ]),
    )
    expect(found.filter((fault) => fault.startsWith('fr/mail.yaml › texts')).length).toBeGreaterThan(0)
  })
})
