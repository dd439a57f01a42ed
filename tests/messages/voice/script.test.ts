import { spawnSync } from 'node:child_process'
import { describe, expect, it } from 'vitest'
import { TEXT_KINDS } from '../../../src/domain/messages/texts/kinds.ts'
import { badWords } from '../../../src/domain/messages/texts/text-rules.ts'
import { firstPass, MOST_SECONDS, type Step } from '../../../src/domain/messages/voice/call-script.ts'
import { codeOf, pressedOf, readingOf } from '../../../src/domain/messages/voice/pressed.ts'
import { ssml } from '../../../src/domain/messages/voice/ssml.ts'
import { present } from '../../gateways/peers/programs.ts'
import { call, library, VALUES, writer } from './example-calls.ts'

const LANGUAGES = [...library.languages.keys()]
const DETAILS = ['full', 'discreet'] as const
const everyCall = LANGUAGES.flatMap((language) =>
  TEXT_KINDS.flatMap((kind) => DETAILS.map((detail) => ({ language, kind, detail }))),
)
/** Digits that stand alone: keys. Those of telephone numbers, dates and times stand in groups. */
const keysSaid = (step: Step) =>
  new Set(
    [
      ...step.say
        .join(' ')
        .replaceAll(VALUES.clinicPhone, '')
        .matchAll(/(?:press|faites le|marque|натисніть) (\d)|(\d) ਦਬਾਓ/g),
    ].map(([, a, b]) => a ?? b),
  )

describe('the script of a call', () => {
  it('says exactly the keys that do something, in every language, kind and detail', () => {
    for (const { language, kind, detail } of everyCall) {
      for (const step of Object.values(call(kind, { language, detail }).steps)) {
        expect(keysSaid(step), `${language} ${kind} ${detail}`).toEqual(new Set(Object.keys(step.keys)))
      }
    }
  })

  it("lets the patient's say with 1 that the patient will be there, with 2 that the period has started, with 3 that the patient needs another time", () => {
    const { message, started } = call('prep').steps
    expect(message.keys).toMatchObject({
      '1': { answer: { meaning: 'confirm' } },
      '2': { go: 'started' },
      '3': { answer: { meaning: 'cannot-come' } },
      '4': { go: 'message' },
      '9': { answer: { meaning: 'stop' } },
    })
    expect(started!.keys).toMatchObject({
      '1': { answer: { meaning: 'period-started', daysAgo: 0 } },
      '2': { answer: { meaning: 'period-started', daysAgo: 1 } },
      '3': {
        answer: { meaning: 'period-started' },
        then: expect.stringContaining('A person from Harbour Clinic will call you') as string,
      },
    })
  })

  it("lets the patient's choose a time on offer by its number", () => {
    const { message } = call('offer').steps
    expect(message.say.join(' ')).toContain('For Friday, March 27, at 3:20 in the afternoon, press 2.')
    expect(message.keys['2']).toMatchObject({ answer: { meaning: 'choice', choice: 2 } })
  })

  it('speaks of no period where cycles play no part, nor after a discreet message', () => {
    expect(Object.keys(call('prep', { values: { ...VALUES, periods: false } }).steps)).toEqual(['greeting', 'message'])
    for (const kind of TEXT_KINDS) expect(call(kind, { detail: 'discreet' }).steps.started, kind).toBeUndefined()
  })

  it('says who calls first, and leaves no test, reason or person’s name to whoever answers or to a machine', () => {
    for (const { language, kind, detail } of everyCall) {
      const { steps, voicemail, notAKey } = call(kind, { language, detail })
      const anybody = [...steps.greeting.say, voicemail, notAKey, ...(detail === 'discreet' ? steps.message.say : [])]
      expect(steps.greeting.say[0]).toContain('Harbour Clinic')
      expect(badWords(anybody.join(' '), library.languages.get(language)!.telling), `${language} ${kind}`).toEqual([])
    }
  })

  it('gives a number to call back in the message, and to those who press nothing', () => {
    for (const { language, kind, detail } of everyCall) {
      const { steps, voicemail } = call(kind, { language, detail })
      // Pre-recorded calls give a telephone number during or after the message: 47 CFR 64.1200(b)(2).
      for (const words of [steps.message.say.join(' '), voicemail])
        expect(words, `${language} ${kind}`).toContain('6 1 3, 5 5 5, 0 1 4 2')
    }
  })

  it('is a draft while any part of it is', () => {
    expect(writer.script({ kind: 'prep', language: 'uk', detail: 'full', values: VALUES }).state).toBe('draft')
  })

  it.skipIf(!present('espeak-ng', ['--version']))(
    'takes at most a minute for who presses 1 and listens to the end',
    () => {
      const voices: Record<string, string> = { en: 'en-us', es: 'es-419', fr: 'fr-fr', pa: 'pa', uk: 'uk' }
      // What is discreet says less, so the full ones are the long ones.
      for (const { language, kind, detail } of everyCall.filter((each) => each.detail === 'full')) {
        const script = call(kind, { language, detail })
        const input = ssml(firstPass(script), script.locale)
        const wave = spawnSync('espeak-ng', ['-v', voices[language]!, '-s', '160', '-m', '--stdin', '--stdout'], {
          input,
          maxBuffer: 1e8,
        }).stdout
        const seconds = (wave.length - 44) / 2 / wave.readUInt32LE(24)
        expect(seconds, `${language} ${kind} ${detail}`).toBeGreaterThan(5)
        // One minute is the limit for exempt health care calls, 47 CFR 64.1200(a)(9)(iv), kept as policy.
        expect(seconds, `${language} ${kind} ${detail}`).toBeLessThanOrEqual(MOST_SECONDS)
      }
    },
  )
})

describe('what a key says', () => {
  it('survives the way through an address, and nothing else is understood', () => {
    const answers = everyCall
      .flatMap(({ language, kind, detail }) => Object.values(call(kind, { language, detail }).steps))
      .flatMap(({ keys }) => Object.values(keys).flatMap((act) => ('answer' in act ? [act.answer] : [])))
    for (const answer of answers) expect(pressedOf(codeOf(answer))).toEqual(answer)
    for (const code of ['', 'rejoin', 'choice', 'choice.4', 'period-started.2', 'constructor'])
      expect(pressedOf(code)).toBeUndefined()
  })

  it('dates a start by the calendar, also over the end of February in a leap year', () => {
    expect(readingOf({ meaning: 'period-started', daysAgo: 1 }, '2028-03-01')).toMatchObject({
      startedOn: '2028-02-29',
      confidence: 1,
    })
    expect(readingOf({ meaning: 'period-started', daysAgo: 0 }, '2028-03-01')).toMatchObject({
      startedOn: '2028-03-01',
    })
    expect(readingOf({ meaning: 'period-started' }, '2028-03-01')).not.toHaveProperty('startedOn')
  })
})
