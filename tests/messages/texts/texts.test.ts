import { beforeAll, describe, expect, test } from 'vitest'
import { loadProtocols } from '../../../src/adapters/templates/load-protocols.ts'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import { answersByLanguage, EXAMPLE_SITE } from '../../../src/cli/example-site.ts'
import { TEXT_KINDS, type TextValues } from '../../../src/domain/messages/texts/kinds.ts'
import { renderText } from '../../../src/domain/messages/texts/render.ts'
import { measureSms } from '../../../src/domain/messages/texts/sms.ts'
import { surveyTexts, type SurveyRow } from '../../../src/domain/messages/texts/survey.ts'

const library = loadTexts()
const protocols = loadProtocols()
const LANGUAGES = ['en', 'es', 'fr', 'pa', 'uk']
const visit = new Date('2026-03-20T13:30:00Z')
const values: TextValues = {
  ...EXAMPLE_SITE,
  zone: 'America/Halifax',
  visit,
  mark: new Date('2026-03-18T13:30:00Z'),
  choices: [new Date('2026-03-26T13:00:00Z'), new Date('2026-03-27T18:20:00Z'), new Date('2026-03-30T12:00:00Z')],
  answer: 'A bath is fine.',
}
let rows: SurveyRow[]
beforeAll(() => {
  rows = surveyTexts(library, { ...EXAMPLE_SITE, answers: answersByLanguage(protocols.values()) })
})

const say = (
  kind: (typeof TEXT_KINDS)[number],
  language: string,
  more: Partial<Parameters<typeof renderText>[1]> = {},
): string => renderText(library, { kind, language, channel: 'sms', detail: 'full', values, ...more }).text

describe('every language', () => {
  test('there are five languages, and each says every kind full and discreet, by SMS and by voice', () => {
    expect([...library.languages.keys()].sort()).toEqual(LANGUAGES)
    for (const language of LANGUAGES) {
      for (const kind of TEXT_KINDS) {
        for (const detail of ['full', 'discreet'] as const) {
          expect(say(kind, language, { detail })).toContain(EXAMPLE_SITE.clinic)
          for (const voicePart of ['greeting', 'full', 'voicemail'] as const) {
            const spoken = say(kind, language, { detail, channel: 'voice', voicePart })
            expect(spoken).not.toMatch(/[{}]|undefined/)
            expect(spoken.length).toBeGreaterThan(10)
          }
        }
      }
    }
  })

  test('first contact, help and alarm say how to reach the clinic, and first contact how to stop', () => {
    for (const language of LANGUAGES) {
      for (const kind of ['confirmation', 'help', 'alarm'] as const) {
        for (const detail of ['full', 'discreet'] as const)
          expect(say(kind, language, { detail })).toContain('+1 613 555 0142')
      }
      expect(say('confirmation', language)).toContain(library.languages.get(language)!.keywords.stop)
    }
  })

  test('an alarm never offers another time: it knows of no visit and no openings', () => {
    for (const { texts } of library.languages.values()) {
      const alarms = [...texts.values()].filter(
        ({ kind, part }) => kind === 'alarm' && ['full', 'discreet'].includes(part),
      )
      expect(alarms).toHaveLength(4)
      for (const { asks } of alarms) expect([...asks].sort()).toEqual(['clinic', 'emergency', 'phone'])
    }
  })

  test('a discreet text points to the private page wherever the full one says more than that there is a visit', () => {
    for (const language of LANGUAGES) {
      for (const kind of [
        'confirmation',
        'lmp-question',
        'cycle-check',
        'cycle-check-again',
        'prep',
        'late-prep',
        'day-before',
        'moved',
        'answer',
      ] as const) {
        expect(say(kind, language, { detail: 'discreet' })).toContain(EXAMPLE_SITE.page)
      }
    }
  })

  test('a voicemail is the same whatever the detail, for anybody may hear it', () => {
    for (const language of LANGUAGES) {
      const by = (detail: 'full' | 'discreet'): string =>
        say('prep', language, { channel: 'voice', voicePart: 'voicemail', detail })
      expect(by('full')).toBe(by('discreet'))
    }
  })
})

describe('what it costs', () => {
  test('no text breaks the budget of its language at its longest', () => {
    expect(
      rows
        .filter(({ overBudget }) => overBudget)
        .map(({ language, kind, part, overBudget }) => `${language} ${kind} ${part}: ${overBudget}`),
    ).toEqual([])
  })

  test('English, French and Spanish fit one GSM-7 segment with a clinic of 24 characters, a page of 60 and three choices', () => {
    expect([...EXAMPLE_SITE.clinic]).toHaveLength(24)
    expect(EXAMPLE_SITE.page).toHaveLength(60)
    const latin = rows.filter(({ language, channel }) => ['en', 'fr', 'es'].includes(language) && channel === 'sms')
    expect(latin).toHaveLength(3 * 2 * TEXT_KINDS.length)
    for (const { text } of latin) expect(measureSms(text)).toMatchObject({ encoding: 'GSM-7', segments: 1 })
  })

  test('Ukrainian and Punjabi take at most three segments', () => {
    const other = rows.filter(({ language, channel }) => ['uk', 'pa'].includes(language) && channel === 'sms')
    expect(other).toHaveLength(2 * 2 * TEXT_KINDS.length)
    for (const { text } of other) expect(measureSms(text).segments).toBeLessThanOrEqual(3)
  })

  test('every answer of every protocol fits the budget', () => {
    for (const [code, sentences] of Object.entries(answersByLanguage(protocols.values()))) {
      for (const answer of sentences) {
        const { encoding, segments } = renderText(library, {
          kind: 'answer',
          language: code,
          channel: 'sms',
          detail: 'full',
          values: { ...values, answer },
        })
        const { budget } = library.languages.get(code)!
        expect(segments, answer).toBeLessThanOrEqual(budget.segments)
        if (budget.encoding === 'GSM-7') expect(encoding, answer).toBe('GSM-7')
      }
    }
  })

  test('no date of two years is longer than the one the budget was measured with', () => {
    for (const language of LANGUAGES) {
      const longest = rows.find((row) => row.language === language && row.kind === 'no-change' && row.part === 'full')!
      for (let day = 0; day < 731; day += 1) {
        for (const hour of [8, 12, 15, 22]) {
          const at = new Date(Date.UTC(2027, 0, 1 + day, hour, 45))
          expect(
            measureSms(say('no-change', language, { values: { ...values, visit: at } })).units,
          ).toBeLessThanOrEqual(longest.units)
        }
      }
    }
  })

  test('a clinic whose name has a letter outside GSM-7 pays for it, and is told so', () => {
    const costly = surveyTexts(library, { ...EXAMPLE_SITE, clinic: 'Clinique du Côté-Nord', answers: {} }, 'fr')
    expect(costly.find(({ kind }) => kind === 'prep')).toMatchObject({
      encoding: 'UCS-2',
      overBudget: 'not in GSM-7: ô',
    })
  })

  test('a site may fold the typographic apostrophe of its name to GSM-7', () => {
    const request = {
      kind: 'help',
      language: 'en',
      channel: 'sms',
      detail: 'full',
      values: { ...values, clinic: 'Women’s Clinic' },
    } as const
    expect(renderText(library, request).encoding).toBe('UCS-2')
    expect(renderText(library, { ...request, fold: true })).toMatchObject({ encoding: 'GSM-7', segments: 1 })
  })
})

describe('how hard it is to read', () => {
  // AMA health literacy advice: sixth grade or below (value from memory).
  test('every English text is at or below the sixth grade by Flesch-Kincaid', () => {
    for (const { grade, text } of rows.filter(({ language }) => language === 'en'))
      expect(grade!, text).toBeLessThanOrEqual(6)
  })

  test('every Spanish text has a Fernández-Huerta ease of 80 or more', () => {
    for (const { ease, text } of rows.filter(({ language }) => language === 'es'))
      expect(ease!, text).toBeGreaterThanOrEqual(80)
  })

  test('every French text has a Kandel-Moles ease of 80 or more', () => {
    for (const { ease, text } of rows.filter(({ language }) => language === 'fr'))
      expect(ease!, text).toBeGreaterThanOrEqual(80)
  })

  test('sentences in Ukrainian and Punjabi, for which no formula is established, have 16 words at most', () => {
    for (const { text, channel } of rows.filter(({ language }) => ['uk', 'pa'].includes(language))) {
      if (channel === 'voice') continue
      for (const sentence of text.split(/[.!?:;।](?=\s|$)|\n/))
        expect(sentence.trim().split(/\s+/).length, sentence).toBeLessThanOrEqual(16)
    }
  })
})

describe('what a text says', () => {
  test('preparation names what this protocol asks to avoid', () => {
    expect(say('prep', 'en')).toBe(
      'Riverbend Medical Clinic: From Wed Mar 18 10:30am to visit: no sex, lube, douching or bought vaginal cream. Keep taking prescribed medicine. Period? Text BEGAN.',
    )
    expect(say('prep', 'en', { values: { ...values, avoid: ['tampon', 'douche'] } })).toContain(
      'no tampons or douching.',
    )
    expect(say('prep', 'fr', { values: { ...values, avoid: ['tampon', 'sex'] } })).toContain('évitez tampon ou sexe.')
  })

  test('nobody without periods is asked about a period', () => {
    for (const language of LANGUAGES) {
      for (const kind of ['prep', 'day-before'] as const) {
        const { telling } = library.languages.get(language)!
        const period = telling.slice(0, 2)
        const text = say(kind, language, { values: { ...values, periods: false } }).toLowerCase()
        for (const word of period) expect(text, `${language} ${kind}`).not.toContain(word)
        expect(say(kind, language).length).toBeGreaterThan(text.length)
      }
    }
  })

  test('where there is nothing to avoid, nobody is told that instructions will follow', () => {
    expect(say('confirmation', 'en', { values: { ...values, avoid: [] } })).not.toContain('get ready')
    expect(say('confirmation', 'en')).toContain('get ready')
  })

  test('an offer asks for exactly the numbers it lists', () => {
    const [one, two] = values.choices!
    expect(say('offer', 'en', { values: { ...values, choices: [one!] } })).toContain('Reply 1 to take it.')
    expect(say('offer', 'en', { values: { ...values, choices: [one!, two!] } })).toContain('Reply 1 or 2.')
    expect(say('offer', 'en')).toContain(
      '1: Thu Mar 26 10:00am\n2: Fri Mar 27 3:20pm\n3: Mon Mar 30 9:00am\nReply 1, 2 or 3.',
    )
  })

  test('a telephone number is spoken digit by digit', () => {
    expect(say('help', 'en', { channel: 'voice' })).toContain('+1, 6 1 3, 5 5 5, 0 1 4 2')
  })
})

describe('what may go out', () => {
  test('as shipped, every text of every language is a draft: only a site approves', () => {
    for (const { language, state, approvedBy, kind, part } of rows) {
      expect(state, `${language} ${kind} ${part}`).toBe('draft')
      expect(approvedBy).toBeNull()
    }
  })

  test('a region falls back to its language, an unknown language is refused by name of the field', () => {
    expect(
      renderText(library, { kind: 'help', language: 'fr-CA', channel: 'sms', detail: 'full', values }).language,
    ).toBe('fr')
    expect(() => say('help', 'tlh')).toThrow(
      expect.objectContaining({ code: 'bad-input', detail: expect.objectContaining({ field: 'language' }) }),
    )
  })

  test('a value that the text needs and was not given is refused, and the refusal carries no personal data', () => {
    const withoutPage: TextValues = {
      clinic: values.clinic,
      clinicPhone: values.clinicPhone,
      zone: values.zone,
      mark: values.mark!,
    }
    expect(() => say('prep', 'en', { detail: 'discreet', values: withoutPage })).toThrow(
      expect.objectContaining({
        code: 'bad-input',
        detail: { field: 'page', message: 'A text of kind prep needs this value.' },
      }),
    )
    expect(() => say('offer', 'en', { values: { ...values, choices: [visit, visit, visit, visit] } })).toThrow(
      /one, two or three/,
    )
  })

  test('a rule that the language has no words for is refused rather than left out', () => {
    expect(() => say('prep', 'en', { values: { ...values, avoid: ['sex', 'sauna'] } })).toThrow(
      /no words for one of these rules/,
    )
  })
})
