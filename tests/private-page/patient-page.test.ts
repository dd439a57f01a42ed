import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { readPageAnswer } from '../../src/adapters/http/private-page/patient-answers.ts'
import { renderClosedPage, renderPatientPage, urgentWords } from '../../src/adapters/http/private-page/patient-page.ts'
import { readingCounts, readingEase, readingGrade } from '../../src/domain/messages/texts/grade.ts'
import { badWords } from '../../src/domain/messages/texts/text-rules.ts'
import { examplePage, LANGUAGES, library, pageTexts, protocols } from '../private-page/example-page.ts'

const page = (language: string, more: Parameters<typeof examplePage>[1] = {}): string =>
  renderPatientPage(examplePage(language, more))
const flat = (value: unknown): string[] =>
  typeof value === 'string' ? [value] : Object.values(value as object).flatMap(flat)

describe('the patient’s page', () => {
  test('says her own dates: from 48 hours before, on her clock', () => {
    const shown = page('en')
    expect(shown).toContain('>Friday, March 20, at 10:30 in the morning</time>')
    expect(shown).toContain('From Wednesday, March 18, at 10:30 in the morning until your visit, please avoid:')
    expect(page('fr')).toContain('À partir du mercredi 18 mars, à 10 heures 30')
  })

  test('counts 48 elapsed hours over a clock change (RFC 5545 §3.3.6): a visit on Monday 9 March at 9 means Saturday at 8', () => {
    const shown = page('en', {
      visit: new Date('2026-03-09T13:00:00Z'),
      zone: 'America/New_York',
      now: new Date('2026-03-01T12:00:00Z'),
    })
    expect(shown).toContain('From Saturday, March 7, at 8 in the morning')
  })

  test('once the hours have begun it says what can still be kept', () => {
    expect(page('en', { now: new Date('2026-03-19T12:00:00Z') })).toContain(
      'From now until your visit, as far as you can, please avoid:',
    )
  })

  test('rules with different hours stand under their own times, the earliest first', () => {
    const avoid = [
      { what: 'douche', hours: 24, source: 'x' },
      { what: 'sex', hours: 72, source: 'x' },
    ]
    const shown = page('en', { avoid })
    expect(shown.indexOf('From Tuesday, March 17')).toBeGreaterThan(0)
    expect(shown.indexOf('From Tuesday, March 17')).toBeLessThan(shown.indexOf('Sex, with or without a condom'))
    expect(shown.indexOf('Sex, with or without a condom')).toBeLessThan(shown.indexOf('From Thursday, March 19'))
  })

  test('says in every language that prescribed medicine is to be kept', () => {
    for (const language of LANGUAGES)
      expect(page(language)).toContain(
        `<li>${pageTexts.get(language)!.words.fine.items['prescribed-medicine']!.replaceAll("'", '&#39;')}</li>`,
      )
  })

  test('has words for every rule and everything fine of every shipped protocol, in every language', () => {
    for (const { words } of pageTexts.values()) {
      for (const { avoid, fine } of protocols.values()) {
        for (const { what } of avoid) expect(words.avoid[what]).toBeTruthy()
        for (const topic of fine) expect(words.fine.items[topic]).toBeTruthy()
      }
    }
    // A site may ask to avoid anything that the language can name in a text.
    for (const [code, { rules }] of library.languages)
      expect(Object.keys(pageTexts.get(code)!.words.avoid).sort()).toEqual(Object.keys(rules).sort())
  })

  test('where there is nothing to avoid, says so and has no form for a lapse', () => {
    const shown = page('en', { avoid: [] })
    expect(shown).toContain('There is nothing that you need to avoid')
    expect(shown).not.toContain('prep-lapse')
  })

  test('where cycles play no part, asks for no period', () => {
    expect(page('en')).toContain('Has your period started?')
    expect(page('en', { periods: false })).not.toMatch(/period/i)
  })

  test('asks for the last period where that is not known, and takes "I am not sure"', () => {
    const shown = page('en', { ask: 'last-period' })
    expect(shown).toContain('When did your last period start?')
    expect(shown).toContain('value="unclear">I am not sure')
  })

  test('shows openings as buttons, in the order of their numbers', () => {
    const shown = page('es', {
      choices: [
        { slotId: 'o_1', at: new Date('2026-03-26T13:00:00Z') },
        { slotId: 'o_2', at: new Date('2026-03-27T18:20:00Z') },
      ],
    })
    expect(shown).toContain('value="o_1">Tomar el jueves 26 de marzo, a las 10 de la mañana</button>')
    expect(shown).toContain('value="o_2">Tomar el viernes 27 de marzo, a las 3 y 20 de la tarde</button>')
  })

  test('is marked while its words are a draft, and not once they are approved', () => {
    expect(page('fr')).toContain('class="draft"')
    expect(page('en')).not.toContain('class="draft"')
  })

  test('says what came of an answer, and what is missing', () => {
    expect(page('en', { said: 'Your visit stays on Fri Mar 20.' })).toMatch(
      /role="status">.*Your visit stays on Fri Mar 20\./s,
    )
    expect(page('en', { said: '' })).toContain('We have your answer.')
    expect(page('en', { problem: 'date' })).toMatch(/role="alert">.*href="#started-on".*aria-invalid="true"/s)
  })

  test('its title and address tell nothing, and it stays out of search engines', () => {
    for (const language of LANGUAGES) {
      const shown = page(language)
      const title = /<title>(.*)<\/title>/.exec(shown)![1]!
      expect(badWords(title, library.languages.get(language)!.telling)).toEqual([])
      expect(shown).toContain('<meta name="robots" content="noindex, nofollow, noarchive">')
      expect(shown).toContain('<meta name="referrer" content="no-referrer">')
    }
  })

  test('loads nothing from elsewhere and has no script, no inline style and no event handler', () => {
    for (const language of LANGUAGES) {
      const shown = page(language, { said: 'x', choices: [{ slotId: 'o_1', at: new Date('2026-03-26T13:00:00Z') }] })
      expect(shown).not.toMatch(/<script|<style|\sstyle=|\son\w+=|https?:|src=/i)
      expect(
        [...shown.matchAll(/href="([^"]*)"/g)]
          .map(([, address]) => address!)
          .filter((address) => !/^(\/v\/|\/assets\/daysix\.css$|tel:|#)/.test(address)),
      ).toEqual([])
    }
  })

  test('writes a clinic’s name as text, whatever it contains', () => {
    const shown = page('en', {
      clinic: { name: '<b onload="x">O\'Neil & Co', phone: '"><script>', emergency: null },
      said: '<script>alert(1)</script>',
    })
    expect(shown).toContain('&lt;b onload=&quot;x&quot;&gt;O&#39;Neil &amp; Co')
    expect(shown).not.toContain('<script')
  })

  test('once the visit is over, it shows nothing about the visit but how to reach the clinic', () => {
    for (const language of LANGUAGES) {
      const { clinic, language: own, texts, offered, path } = examplePage(language)
      const shown = renderClosedPage({ clinic, language: own, texts, offered, path, unread: false })
      expect(shown).toContain('+1 613 555 0142')
      expect(shown).not.toMatch(/<form|<time|\.ics/)
      const visible = shown.replace(/<[^>]*>/g, ' ')
      expect(badWords(visible, own.telling)).toEqual([])
    }
  })

  test('never speaks of results, in any language', () => {
    for (const [code, { words }] of pageTexts) {
      for (const sentence of flat(words))
        expect(badWords(sentence, library.languages.get(code)!.never), sentence).toEqual([])
    }
  })

  test('reads at the sixth grade or below in English, with an ease of 80 or more in Spanish and French', () => {
    const said = (code: string): object => {
      const { words } = pageTexts.get(code)!
      return { ...words, urgent: urgentWords(words, library.languages.get(code)!, null) }
    }
    const whole = (code: string): string =>
      flat(said(code))
        .join('.\n')
        .replace(/\{\w+\}/g, '')
    expect(readingGrade(readingCounts(whole('en'), 'flesch-kincaid'), 'flesch-kincaid')).toBeLessThanOrEqual(6)
    expect(readingEase(readingCounts(whole('es'), 'fernandez-huerta'), 'fernandez-huerta')).toBeGreaterThanOrEqual(80)
    expect(readingEase(readingCounts(whole('fr'), 'kandel-moles'), 'kandel-moles')).toBeGreaterThanOrEqual(80)
  })
})

describe('an answer given on the page means what the same words by text mean', () => {
  const today = '2026-03-10'
  test('period started on a date', () => {
    expect(readPageAnswer({ answer: 'period-started', startedOn: '2026-03-09', lang: 'en' }, today)).toEqual({
      reading: { meaning: 'period-started', startedOn: '2026-03-09', confidence: 1, words: [] },
    })
  })

  test('not yet, another time, a lapse, not sure', () => {
    for (const meaning of ['not-started', 'cannot-come', 'prep-lapse', 'unclear']) {
      expect(readPageAnswer({ answer: meaning }, today)).toEqual({ reading: { meaning, confidence: 1, words: [] } })
    }
  })

  test('a choice names its opening, never its place in a list', () => {
    expect(readPageAnswer({ answer: 'choice', choice: 'o_1m8c' }, today)).toEqual({
      reading: { meaning: 'choice', confidence: 1, words: [] },
      slotId: 'o_1m8c',
    })
    for (const choice of ['3', '0', 'two', 'b_1m8c', undefined])
      expect(readPageAnswer({ answer: 'choice', choice }, today)).toBe('problem')
  })

  test.each(['2026-03-11', '2025-09-10', '2026-02-30', '10/03/2026', '', undefined, ['2026-03-09']])(
    'the date %s is asked for again',
    (startedOn) => {
      expect(readPageAnswer({ answer: 'period-started', startedOn }, today)).toBe('problem')
    },
  )

  test('whatever is posted, it is a meaning of the form or a problem, and nothing is thrown', () => {
    fc.assert(
      fc.property(
        fc.anything(),
        fc.dictionary(fc.constantFrom('answer', 'startedOn', 'choice'), fc.anything()),
        (anything, form) => {
          for (const body of [anything, form]) {
            const read = readPageAnswer(body, today)
            if (read !== 'problem')
              expect(['period-started', 'not-started', 'unclear', 'cannot-come', 'prep-lapse', 'choice']).toContain(
                read.reading.meaning,
              )
          }
        },
      ),
    )
  })
})
