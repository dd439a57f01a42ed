import { readdirSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { readLabelled, type Labelled } from '../../src/cli/score-replies.ts'
import { readReply } from '../../src/domain/replies/read-reply.ts'
import type { Meaning, Reading, ReplyContext } from '../../src/domain/replies/reading.ts'

// Every labelled text, changed in a way whose effect on its meaning is known (metamorphic relations: Chen, Cheung and
// Yiu 1998, value from memory). What each change must do is our own rule.
const folder = new URL('./corpus/', import.meta.url)
const vocabulary = loadVocabulary()
const labelled = readdirSync(folder)
  .filter((file) => file.endsWith('.tsv'))
  .flatMap((file) => readLabelled(readFileSync(new URL(file, folder), 'utf8')))

/** What moves, confirms or silences, or is learned of the cycle. */
const ACTING: ReadonlySet<Meaning> = new Set<Meaning>([
  'period-started',
  'not-started',
  'still-bleeding',
  'bleeding-ended',
  'no-cycle',
  'confirm',
  'cannot-come',
  'choice',
  'stop',
  'wrong-person',
])
const read = ({ language, receivedAt, choices, asked }: Labelled, text: string, more: Partial<ReplyContext> = {}) =>
  readReply(
    text,
    {
      ...{ language, receivedAt: receivedAt.toJSDate(), zone: 'America/Halifax', choices, ...(asked && { asked }) },
      ...more,
    },
    vocabulary,
  )
const acts = ({ meaning, also = [] }: Reading) => [meaning, ...also].some((each) => ACTING.has(each))
/** Of one clause, and so short that whatever stands before it is about all of it. */
const isPlain = (each: Labelled) =>
  !/[.,;:!?…\n]|\b(so|but|mais|pero)\b/i.test(each.text) &&
  each.text.split(/\s+/).length <= 7 &&
  !each.asked &&
  read(each, each.text).language === undefined

/** Those of which the change leaves something that it must not. */
const broken = (
  texts: readonly Labelled[],
  change: (each: Labelled) => string,
  wrong: (was: Labelled, now: Reading) => boolean,
) =>
  texts.flatMap((each) => {
    const text = change(each)
    const now = read(each, text)
    return wrong(each, now) ? [`${each.language} "${text}": ${each.meanings.join('+')}, read as ${now.meaning}`] : []
  })

const BY_LANGUAGE = (words: Record<string, string>) => (each: Labelled) => `${words[each.language]}${each.text}`

describe('a labelled text', () => {
  it.each([
    ['Liked', 'en'],
    ['Loved', 'en'],
    ['Emphasized', 'en'],
    ['Laughed at', 'en'],
    ['Questioned', 'en'],
    ['Disliked', 'en'],
  ])('that is ours, sent back as %s “…”, does nothing', (reaction) => {
    const ours = labelled.filter(({ text }) => text.split(/\s+/).length >= 4 && !/[“”]/.test(text))
    const wrong = ours.filter((each) => acts(read(each, `${reaction} “${each.text}”`, { said: [each.text] })))
    expect(ours.length).toBeGreaterThan(800)
    expect(wrong.map(({ text }) => text)).toEqual([])
  })

  it('in capitals is read as it was', () => {
    // In capitals a carrier word stands alone, and is a stop: see isPlainStop.
    const small = labelled.filter(({ text }) => text === text.toLowerCase() && !/[“”"&]/.test(text))
    const wrong = small.filter((each) => {
      const [was, now] = [read(each, each.text), read(each, each.text.toUpperCase())]
      return now.meaning !== was.meaning && now.meaning !== 'stop'
    })
    expect(small.length).toBeGreaterThan(500)
    expect(wrong.map(({ text }) => text)).toEqual([])
  })

  it('that is only supposed is no news and no wish', () => {
    const supposed = labelled.filter(
      (each) =>
        isPlain(each) &&
        ['period-started', 'still-bleeding', 'not-started', 'bleeding-ended', 'cannot-come'].includes(
          each.meanings[0]!,
        ),
    )
    const words = { en: 'what if ', fr: 'et si ', es: 'qué pasa si ', uk: 'а що як ', pa: 'ਜੇ ' }
    expect(supposed.length).toBeGreaterThan(150)
    expect(broken(supposed, BY_LANGUAGE(words), ({ meanings }, now) => now.meaning === meanings[0])).toEqual([])
  })

  it('of no alarm stays so beside "so I’ll be there"', () => {
    const calm = labelled.filter(
      ({ language, meanings, clinical }) => language === 'en' && !meanings.includes('urgent') && !clinical,
    )
    expect(
      broken(
        calm,
        ({ text }) => `${text}, so I'll be there`,
        (_, now) => now.meaning === 'urgent',
      ),
    ).toEqual([])
  })

  it.each([
    [
      'en',
      ["please don't ", 'no need to ', "I don't want to ", 'I will never '],
      [
        'cancel my appointment',
        'cancel my visit',
        'reschedule',
        'reschedule my appointment',
        'change the date',
        'move my visit',
      ],
    ],
    [
      'fr',
      ['pas besoin de ', 'je ne veux pas ', 'inutile de '],
      ['annuler mon rendez-vous', 'annuler', 'changer la date', 'reporter mon rendez-vous', 'déplacer mon rdv'],
    ],
    [
      'es',
      ['no quiero ', 'no hace falta ', 'no necesito '],
      ['cancelar mi cita', 'cancelar', 'cambiar la cita', 'cambiar la fecha', 'mover mi cita'],
    ],
    ['uk', ['не треба ', 'не хочу '], ['скасовувати мій прийом', 'переносити візит', 'скасувати запис']],
  ] as const)('that cancels or moves in %s does not, where it is denied', (language, denials, wishes) => {
    const [sample] = labelled
    const texts = denials.flatMap((no) =>
      wishes.map((wish) => ({ ...sample!, language, meanings: ['unclear'], choices: 0, text: no + wish })),
    )
    expect(
      broken(
        texts,
        ({ text }) => text,
        (_, now) => now.meaning === 'cannot-come' || now.meaning === 'stop',
      ),
    ).toEqual([])
  })

  it('of who cannot come is not hers where her husband cannot', () => {
    const hers = labelled.filter(
      ({ language, text, meanings }) =>
        language === 'en' && meanings[0] === 'cannot-come' && /^I (can|won|could|am not)/.test(text),
    )
    expect(hers.length).toBeGreaterThan(3)
    expect(
      broken(
        hers,
        ({ text }) => text.replace(/^I /, 'My husband '),
        (_, now) => now.meaning === 'cannot-come',
      ),
    ).toEqual([])
  })
})
