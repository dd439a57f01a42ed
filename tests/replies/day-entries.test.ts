import { DateTime } from 'luxon'
import { describe, expect, it } from 'vitest'
import { readVocabularyFiles } from '../../src/adapters/templates/load-vocabulary.ts'
import type { VocabularySource } from '../../src/domain/replies/vocabulary-source.ts'
import { samplesWith } from './entries.ts'
import { read } from './reading.ts'

// Every way of telling a day, with every number word, must come out as the date that the calendar says (luxon's, not
// ours). What the number words count is common knowledge, no source.
/** Words for one, two, three and so on, with their other forms, and those beyond. */
const NUMBERS: Record<string, Record<string, number>> = {
  en: {
    ...counted('one two three four five six seven eight nine ten'),
    ...counted('eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen twenty', 11),
    couple: 2,
    thirty: 30,
  },
  fr: {
    ...counted('un/une deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze'),
    vingt: 20,
  },
  es: {
    ...counted('un/uno/una dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince'),
    par: 2,
    veinte: 20,
  },
  uk: {
    ...counted("один/одна два/дві три чотири п'ять шість сім вісім дев'ять десять одинадцять дванадцять"),
    пару: 2,
    чотирнадцять: 14,
    "п'ятнадцять": 15,
  },
  pa: { ...counted('ਇੱਕ/ਇਕ ਦੋ ਤਿੰਨ ਚਾਰ ਪੰਜ ਛੇ ਸੱਤ ਅੱਠ ਨੌਂ/ਨੌ ਦਸ ਗਿਆਰਾਂ ਬਾਰਾਂ ਤੇਰਾਂ ਚੌਦਾਂ ਪੰਦਰਾਂ'), ਵੀਹ: 20 },
}

function counted(words: string, first = 1): Record<string, number> {
  return Object.fromEntries(words.split(' ').flatMap((forms, i) => forms.split('/').map((word) => [word, i + first])))
}

const ORDINALS: Record<string, string[]> = {
  en: 'first second third fourth fifth sixth seventh eighth ninth tenth'.split(' '),
  fr: 'premier deuxième troisième quatrième cinquième sixième septième huitième'.split(' '),
  es: 'primer segundo tercer cuarto quinto sexto séptimo'.split(' '),
  uk: 'перший другий третій четвертий'.split(' '),
  pa: 'ਪਹਿਲਾ ਦੂਜਾ ਤੀਜਾ ਚੌਥਾ'.split(' '),
}
const WEEKDAYS: Record<string, string[]> = {
  en: 'monday tuesday wednesday thursday friday saturday sunday'.split(' '),
  fr: 'lundi mardi mercredi jeudi vendredi samedi dimanche'.split(' '),
  es: 'lunes martes miércoles jueves viernes sábado domingo'.split(' '),
  uk: 'понеділок вівторок середу четвер пʼятницю суботу неділю'.split(' '),
  pa: 'ਸੋਮਵਾਰ ਮੰਗਲਵਾਰ ਬੁੱਧਵਾਰ ਵੀਰਵਾਰ ਸ਼ੁੱਕਰਵਾਰ ਸ਼ਨੀਵਾਰ ਐਤਵਾਰ'.split(' '),
}
const STARTS: Record<string, (day: string) => string> = {
  en: (day) => `my period started ${day}`,
  fr: (day) => `mes règles ont commencé ${day}`,
  es: (day) => `mi regla empezó ${day}`,
  uk: (day) => `місячні почалися ${day}`,
  pa: (day) => `ਮਾਹਵਾਰੀ ${day} ਸ਼ੁਰੂ ਹੋਈ`,
}
const NOW = DateTime.fromISO('2026-03-18T14:00', { zone: 'America/Halifax' })
/** What each kind of day is, n being the number and w the weekday told in it. `undefined`: no one day. */
const DATES: Record<string, (n: number, w: number) => DateTime | undefined> = {
  today: () => NOW,
  'earlier-today': () => NOW,
  evening: () => NOW,
  yesterday: () => NOW.minus({ days: 1 }),
  night: () => NOW.minus({ days: 1 }),
  'before-yesterday': () => NOW.minus({ days: 2 }),
  'a-day-ago': () => NOW.minus({ days: 1 }),
  'days-ago': (n) => NOW.minus({ days: n }),
  'a-week-ago': () => NOW.minus({ weeks: 1 }),
  'a-fortnight-ago': () => NOW.minus({ weeks: 2 }),
  'weeks-ago': (n) => NOW.minus({ weeks: n }),
  'hours-ago': (n) => NOW.minus({ hours: n }),
  'minutes-ago': (n) => NOW.minus({ minutes: n }),
  'for-days': (n) => NOW.minus({ days: n }),
  'for-a-week': () => NOW.minus({ weeks: 1 }),
  'cycle-day': (n) => NOW.minus({ days: n - 1 }),
  weekday: (_, w) => lastDay((day) => day.weekday === w),
  'last-weekday': (_, w) => lastDay((day) => day.weekday === w, 1),
  'day-of-month': (n) => lastDay((day) => day.day === n),
  'day-of-last-month': (n) => lastDay((day) => day.day === n && day.month === 2),
  vague: () => undefined,
}

function lastDay(fits: (day: DateTime) => boolean, from = 0): DateTime | undefined {
  for (let back = from; back < 92; back++) if (fits(NOW.minus({ days: back }))) return NOW.minus({ days: back })
  return undefined
}

interface Told {
  language: string
  kind: string
  words: string
  /** The only date that may come out. */
  date: string | undefined
}

/** Every entry of a language with every number in figures and words, every ordinal and every weekday. */
function entriesOf(source: VocabularySource): Told[] {
  const { language } = source
  const numbers = Object.entries(NUMBERS[language]!).flatMap(
    ([word, n]) =>
      [
        [word, n],
        [String(n), n],
      ] as [string, number][],
  )
  const ordinals = [...ORDINALS[language]!.entries()].map(([i, word]) => [word, i + 1] as [string, number])
  return Object.entries(source.days).flatMap(([kind, patterns]) =>
    patterns.flatMap((pattern) => {
      const has = (name: string) => pattern.includes(`<${name}>`)
      const counted = has('nth') ? ordinals : has('n') ? numbers : ([['', 0]] as [string, number][])
      const weekdays = has('weekday') ? [...WEEKDAYS[language]!.entries()] : ([[0, '']] as [number, string][])
      return counted.flatMap(([word, n]) =>
        weekdays.flatMap(([w, weekday]) =>
          samplesWith(pattern, source, { n: word, nth: word, weekday }).map((words) => ({
            language,
            kind,
            words,
            date: DATES[kind]?.(n || literal(words, source), w + 1)?.toISODate() ?? undefined,
          })),
        ),
      )
    }),
  )
}

/** The number that an entry holds itself, the last of several: "a couple of days ago", "cd1". */
function literal(words: string, { language }: VocabularySource): number {
  const spoken = words
    .split(' ')
    .map((word) => NUMBERS[language]![word] ?? Number(/^\p{L}{0,2}(\d+)$/u.exec(word)?.[1] ?? 0))
  return spoken.findLast((count) => count > 0) ?? 1
}

const entries = readVocabularyFiles()
  .flatMap(entriesOf)
  .filter(({ kind }) => kind in DATES)

describe('every way of telling a day, with every number', () => {
  it('is tried in all languages', () => {
    for (const language of ['en', 'fr', 'es', 'uk', 'pa'])
      expect(entries.filter((entry) => entry.language === language).length).toBeGreaterThan(40)
  })

  it('is tried with every number word that the files know, which all count what they say', () => {
    for (const { language, numbers } of readVocabularyFiles())
      expect(NUMBERS[language], language).toMatchObject(numbers)
  })

  it('counts days where it says days, and weeks where it says weeks', () => {
    const weeks = /week|semaine|semana|тиж|ਹਫ/
    const counted = entries.filter(({ kind, date }) => date !== undefined && /^(days|weeks|for)-/.test(kind))
    expect(
      counted
        .filter(({ kind, words }) => weeks.test(words) !== /week/.test(kind))
        .map(({ language, words }) => `${language} ${words}`),
    ).toEqual([])
  })

  it('never comes out as another date than the calendar’s', () => {
    const wrong = entries.flatMap(({ language, kind, words, date }) => {
      const { startedOn } = read(STARTS[language]!(words), { language })
      return startedOn === undefined || startedOn === date
        ? []
        : [`${language} ${kind} "${words}": ${startedOn}, is ${date}`]
    })
    expect(wrong).toEqual([])
  })

  it('comes out as that date, but for few that are left open', () => {
    const dated = entries.filter(({ date }) => date !== undefined)
    const open = dated.filter(
      ({ language, words }) => read(STARTS[language]!(words), { language }).startedOn === undefined,
    )
    expect(
      open.length / dated.length,
      open
        .slice(0, 40)
        .map(({ language, words }) => `${language} ${words}`)
        .join('\n'),
    ).toBeLessThan(0.05)
  })
})
