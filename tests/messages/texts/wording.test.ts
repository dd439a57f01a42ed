import { execFileSync } from 'node:child_process'
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { TEMPLATES } from '../../../src/adapters/templates/files.ts'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import { TEXT_KINDS } from '../../../src/domain/messages/texts/kinds.ts'
import { renderText } from '../../../src/domain/messages/texts/render.ts'
import { ssml } from '../../../src/domain/messages/voice/ssml.ts'
import { present } from '../../gateways/peers/programs.ts'

const LANGUAGES = ['en', 'es', 'fr', 'pa', 'uk'] as const
const library = loadTexts()

const read = (language: string, file: string): unknown => parse(readFileSync(join(TEMPLATES, language, file), 'utf8'))

/** Every sentence of a file of templates, with where it stands. */
function sentences(tree: unknown, path = ''): [where: string, words: string][] {
  if (typeof tree === 'string') return [[path, tree]]
  if (typeof tree !== 'object' || tree === null) return []
  return Object.entries(tree).flatMap(([name, branch]) => sentences(branch, path === '' ? name : `${path}.${name}`))
}

function allWords(language: string): [where: string, words: string][] {
  const { rules } = read(language, 'language.yaml') as { rules: unknown }
  const files = ['sms.yaml', 'voice.yaml', 'answers.yaml', 'page.yaml', 'call.yaml', 'mail.yaml']
  return [...files.flatMap((file) => sentences(read(language, file), file)), ...sentences(rules, 'rules')]
}

/** Found by reading as a patient of low literacy would: each was understood otherwise than it was meant. */
const MISREAD: [language: (typeof LANGUAGES)[number], fragment: RegExp, why: string][] = [
  ['pa', /\{hours\} ਘੰਟੇ ਪਹਿਲਾਂ ਤੱਕ/, '“until 48 hours before”: the reverse, for it allows the 48 hours themselves'],
  ['pa', /(?<!ਯੋਨੀ (?:ਨੂੰ )?)ਅੰਦਰੋਂ (?:ਨਾ )?ਧੋ/, '“do not wash from inside”: inside of what'],
  ['pa', /ਕੋਈ ਵਿਅਕਤੀ/, '“some person, anyone” reads it: frightens about privacy'],
  ['pa', /ਸੰਭੋਗ/, 'bookish on paper, coarse aloud'],
  ['pa', /ਪੁਸ਼ਟੀ ਕਰੇਗਾ/, 'promises that the new time will be confirmed'],
  ['pa', /ਕੋਈ ਤੁਹਾਨੂੰ/, '“somebody will call you”: nobody of the clinic?'],
  ['pa', /ਸਤ ਸ੍ਰੀ/, 'misspelt: ਸਤਿ'],
  ['pa', /^ਸਤਿ ਸ੍ਰੀ ਅਕਾਲ।./u, 'greets Sikhs only, where anybody may answer'],
  ['uk', /(?<![\p{L}])за \{hours\} годин/iu, 'a moment, 48 hours before, and not the span until the visit'],
  ['uk', /вживайте|ліки продовжуйте/, '“вживати” is to eat or drink; “ліки продовжуйте” is no Ukrainian'],
  ['uk', /ліки приймайте(?! чи застосовуйте)/, '“приймати” is only for what is swallowed, and leaves creams out'],
  ['uk', /Не мийте всередині/, '“do not wash inside”: the bath?'],
  ['uk', /Кінець:/, 'a form read aloud'],
  ['uk', /Початок:/, 'a form read aloud'],
  ['uk', /людина/, '“a human being” reads it'],
  ['uk', /миття всередині(?! піхви)/, '“washing inside”: the bath?'],
  ['uk', /кращий інший час/, 'no Ukrainian: “if better another time”'],
  ['es', /duchas/i, '“ducha” alone is a shower: the patient stops showering'],
  ['es', /venga igual/, '“come the same” in Mexico'],
  ['es', /vamos a confirmar/, 'promises what is only asked for'],
  ['es', /por decirlo/, 'English word for word: “for saying it”'],
  ['es', /Una persona va a/, '“a person”: who?'],
  ['es', /textos/, 'text messages in the United States only'],
  ['es', /Tener sexo/, 'blunt on a page that says “relaciones sexuales” elsewhere'],
  ['fr', /Gardez ce qui est prescrit/, '“put aside what is prescribed”'],
  ['fr', /pas de [^.{}]*lavage(?! (interne|dans le vagin))/, '“do not wash”'],
  ['fr', /urgences de votre région/, 'the switchboard of a hospital, not the emergency number'],
  ['fr', /produit vaginal(?! acheté)/, 'forbids what is prescribed too'],
  ['fr', /(vous avez fait|fait une des choses)/i, 'lays blame: it may not have been a choice'],
  ['fr', /heures? libres?/, '“leisure”: time to oneself, not a time on offer'],
  ['fr', /encore de nos/, '“you will still get”, where it begins again'],
  ['fr', /Désolés/, 'masculine, and blunt'],
  ['fr', /Une personne va lire/, '“a person”: who?'],
  ['fr', /rapports sexuels sont permis|est permise?/, 'a moral permission'],
  ['fr', /[Pp]rendre (?!ou )[^.]*prescrit/, 'creams and pessaries are not taken: leaves them out'],
  ['fr', /à l'intérieur(?! du vagin)/, '“inside”: of what'],
  ['fr', /sans réponse/, 'broken: “or without answer”'],
  ['en', /Keep prescribed medicine/, '“put it aside”'],
  ['en', /cream you bought/, 'a prescribed cream is bought too'],
  ['en', /wash(ing)? inside(?! the vagina)/, 'inside of what? Learners of English: indoors'],
  ['en', /Did you do/, 'lays blame: it may not have been a choice'],
  ['en', /will confirm the new time/, 'reads as granted'],
]

describe('words that were understood otherwise than they were meant', () => {
  test.each(MISREAD)('%s never says %s: %s', (language, fragment) => {
    for (const [where, words] of allWords(language)) expect(words, `${language} ${where}`).not.toMatch(fragment)
  })

  test('English asks for BEGAN: STARTED, cut short, is START, with which a number asks for its texts back', () => {
    expect(library.languages.get('en')!.keywords).toMatchObject({ started: 'BEGAN', start: 'START' })
    for (const { keywords } of library.languages.values()) {
      expect(keywords.started.startsWith(keywords.start), `${keywords.started} begins with ${keywords.start}`).toBe(
        false,
      )
    }
  })
})

/** What nobody can do who hears the words in a call. Beginnings of words, whatever the case. */
const ASKS_FOR_A_TEXT: Record<(typeof LANGUAGES)[number], RegExp> = {
  en: /\b(reply|text|write|send)\b/i,
  es: /\b(respond|conteste|mande|escrib|env[ií]e)/i,
  fr: /\b(répond|texte|écriv|envoy)/i,
  uk: /(напиш|надішл|відправ)/i,
  pa: /(ਲਿਖੋ|ਭੇਜੋ|ਜਵਾਬ ਦਿਓ)/,
}

describe('answers are read and heard', () => {
  test.each(LANGUAGES)(
    'no answer in %s tells the patient to text a word, for it is spoken in calls too',
    (language) => {
      const { keywords } = library.languages.get(language)!
      for (const [where, words] of sentences(read(language, 'answers.yaml'))) {
        expect(words, where).not.toMatch(ASKS_FOR_A_TEXT[language])
        for (const keyword of Object.values(keywords)) expect(words, where).not.toContain(keyword)
      }
    },
  )
})

describe.skipIf(!present('espeak-ng', ['--version']))('Ukrainian by telephone, as espeak-ng says it', () => {
  const phonemes = (words: string): string =>
    execFileSync('espeak-ng', ['-v', 'uk', '-m', '-q', '-x', '--stdin'], { input: ssml([words], 'uk') }).toString()
  /** From Monday 16 March 2026 on. */
  const week = [0, 1, 2, 3, 4, 5, 6].map((day) => new Date(Date.UTC(2026, 2, 16 + day, 13, 30)))

  test('it spells a word in English where it does not know a sign', () => {
    expect(phonemes('п\u02bcятниця')).toContain('(en)')
  })

  test.each(TEXT_KINDS)('no day of the week is spelled out in English in a text of kind %s', (kind) => {
    for (const visit of week) {
      const values = { clinic: 'Клініка', clinicPhone: '613 555 0142', zone: 'UTC', visit, mark: visit }
      const more = { choices: [visit], answer: 'Так.', page: '' }
      const request = {
        kind,
        language: 'uk',
        channel: 'voice',
        detail: 'full',
        values: { ...values, ...more },
      } as const
      const { text } = renderText(library, request)
      expect(phonemes(text), text).not.toContain('(en)')
    }
  })

  test('the day of the month is an ordinal: “двадцяте березня”, not “двадцять березня”', () => {
    const visit = new Date('2026-03-20T13:30:00Z')
    const values = { clinic: 'Клініка', clinicPhone: '613 555 0142', zone: 'UTC', visit }
    const { text } = renderText(library, { kind: 'moved', language: 'uk', channel: 'voice', detail: 'full', values })
    expect(text).toContain("п'ятниця, двадцяте березня, 13:30")
  })
})
