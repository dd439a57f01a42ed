import { describe, expect, it } from 'vitest'
import { readFileSync } from 'node:fs'
import { FOLLOW_UP_REASONS } from '../../src/domain/calls/follow-up-reasons.ts'
import { decideForVisit } from '../../src/domain/replies/decide-for-visit.ts'
import { isAboutTheNumber } from '../../src/domain/replies/reading.ts'
import { decideForNumber } from '../../src/domain/replies/decide-for-number.ts'
import { read } from './reading.ts'

// Which words are an emergency, which want a clinician today and which are a wish for the visit. No published list was
// found: a nurse practitioner's reading of common practice. Bleeding after sex, between periods or after the menopause
// wants assessment, not an ambulance: Cancer Council Australia. Pregnancy is for a clinician: New Zealand NSU 2016.
const said = (text: string, language = 'en') => {
  const reading = read(text, { language })
  const effects = decideForNumber(reading)
  return {
    reading,
    meanings: [reading.meaning, ...(reading.also ?? [])],
    texts: effects.flatMap((effect) => (effect.do === 'say' ? effect.kind : [])),
    calls: effects.flatMap((effect) => (effect.do === 'follow-up' ? effect.reason : [])),
  }
}

describe('an emergency', () => {
  it.each([
    ['en', 'soaking a pad every hour'],
    ['en', 'I fainted in the shower'],
    ['en', 'severe pain in my belly'],
    ['en', 'I have a fever'],
    ['en', 'my water broke'],
    ['en', 'having contractions'],
    ['en', 'my baby isnt moving'],
    ['en', 'passing tissue'],
    ['en', "I'm pregnant and bleeding"],
    ['en', 'pregnant with bad cramps'],
    ['en', 'I think I am having a miscarriage'],
    ['en', 'I want to kill myself'],
    ['en', 'my husband hits me'],
    ['en', 'I was raped'],
    ['en', 'bleeding very heavy'],
    ['en', 'took a bunch of pills'],
    ['fr', "j'ai perdu les eaux"],
    ['fr', 'enceinte et je saigne'],
    ['fr', 'je me suis évanouie'],
    ['fr', 'une serviette par heure'],
    ['es', 'se me rompió la fuente'],
    ['es', 'embarazada y sangrando'],
    ['es', 'me desmayé'],
    ['uk', 'відійшли води'],
    ['uk', 'вагітна і кровотеча'],
    ['uk', 'я знепритомніла'],
    ['pa', 'ਮੈਂ ਬੇਹੋਸ਼ ਹੋ ਗਈ'],
  ])('is told to call now, and is called: %s "%s"', (language, text) => {
    const { meanings, texts, calls, reading } = said(text, language)
    expect(meanings).toContain('urgent')
    expect(reading.level).toBeUndefined()
    expect(texts).toContain('alarm')
    expect(calls).toContain('alarm')
  })
})

describe('what a clinician hears today', () => {
  it.each([
    ['en', "I'm pregnant, can I still have it?", 'clinician'],
    ['en', 'I might be pregnant', 'clinician'],
    ['en', 'I had a miscarriage last month', 'clinician'],
    ['en', 'I bleed after sex', 'unexpected-bleeding'],
    ['en', 'bleeding between periods', 'unexpected-bleeding'],
    ['en', 'postmenopausal bleeding', 'unexpected-bleeding'],
    ['en', 'my period is 8 days late', 'late-period'],
    ['en', 'my period is two weeks late', 'late-period'],
    ['en', 'heavy period as usual', 'unexpected-bleeding'],
    ['en', 'bloody discharge', 'unexpected-bleeding'],
    ['en', 'I bleed randomly mid cycle', 'unexpected-bleeding'],
    ['en', 'lower belly pain for a week', 'clinician'],
    ['en', 'pelvic pain after IUD insertion', 'clinician'],
    ['fr', 'je suis enceinte', 'clinician'],
    ['fr', 'je saigne après les rapports', 'unexpected-bleeding'],
    ['fr', "j'ai deux semaines de retard", 'late-period'],
    ['es', 'estoy embarazada', 'clinician'],
    ['es', 'sangro después de tener relaciones', 'unexpected-bleeding'],
    ['es', 'tengo dos semanas de retraso', 'late-period'],
    ['uk', 'я вагітна', 'clinician'],
    ['uk', 'затримка місячних', 'late-period'],
    ['pa', 'ਮੈਂ ਗਰਭਵਤੀ ਹਾਂ', 'clinician'],
  ])('is told of the call, not of an emergency: %s "%s"', (language, text, reason) => {
    const { texts, calls, reading } = said(text, language)
    expect(reading).toMatchObject({ meaning: 'urgent', level: 'today' })
    expect([texts, calls]).toEqual([['clinician-calls'], [reason]])
  })

  it('an emergency beside it stays one, also far apart in a long text', () => {
    expect(said('my period is 8 days late and I fainted').texts).toEqual(['alarm'])
    const long = `I am pregnant. ${'It has been a long week and I am at work. '.repeat(12)}I fainted this morning.`
    expect(said(long).texts).toEqual(['alarm'])
  })

  it('a STOP beside it is followed, and a clinician is told all the same', () => {
    const { texts, calls } = said('Please stop texting me, I am pregnant')
    expect(texts).toEqual(['stopped'])
    expect(calls).toContain('clinician')
  })
})

describe('texts of patients of every kind', () => {
  const labelled = readFileSync(new URL('levels.tsv', import.meta.url), 'utf8')
    .split('\n')
    .filter((line) => line !== '' && !line.startsWith('#'))
    .map((line) => line.split('\t') as [language: string, level: string, text: string])

  it('reach whom they concern, and nobody else is alarmed', () => {
    const wrong = labelled.filter(([language, level, text]) => !reaches(level, language, text))
    expect(wrong).toEqual([])
    expect(labelled.length).toBeGreaterThan(90)
  })
})

/** As a patient who may have a period, and whose visit is tomorrow where the level is of the visit. */
function reaches(level: string, language: string, text: string): boolean {
  const reading = read(text, { language })
  const isNear = level === 'at-visit'
  const effects = isAboutTheNumber(reading.meaning)
    ? decideForNumber(reading, { isNear })
    : decideForVisit({
        ...{ reading, history: { status: 'cycling', lmp: '2026-02-20' }, today: '2026-03-18' },
        ...{ offerOpen: false, mustMove: false, lapsePolicy: 'desk-decides', topics: [], mayBePutOff: true },
        ...{
          isNear,
          isPregnant: false,
          hasPlace: false,
          askedForDay: false,
          mayUndo: false,
          keeps: () => !isNear,
          isBadly: () => isNear,
        },
      })
  const said = effects.flatMap((effect) => (effect.do === 'say' ? effect.kind : []))
  const calls = effects.flatMap((effect) => (effect.do === 'follow-up' ? effect.reason : []))
  const isAlarm = said.includes('alarm')
  if (level === 'emergency') return isAlarm && calls.includes('alarm')
  if (isAlarm) return false
  if (level === 'need') return calls.includes('needs')
  if (level === 'at-visit') return calls.includes('bleeding-at-visit')
  if (level === 'medicine') return !calls.includes('lapse') && calls.length > 0
  return calls.some((reason) => FOLLOW_UP_REASONS[reason].ask === 'clinician')
}

describe('an event after which some wait', () => {
  // Birth: Scottish programme guidance 10.4.8; loss: the Irish programme; cautery, curettage: a US laboratory directory.
  it.each([
    ['en', 'I gave birth 4 weeks ago'],
    ['en', 'I had an abortion last month'],
    ['en', 'I had a colposcopy in May'],
    ['en', 'I have a yeast infection'],
    ['en', 'I had my pap smear last month'],
    ['fr', "j'ai accouché il y a un mois"],
    ['es', 'di a luz hace un mes'],
    ['uk', 'я народила місяць тому'],
  ])('is for a clinician, and moves nothing: %s "%s"', (language, text) => {
    expect(read(text, { language })).toMatchObject({ meaning: 'unclear', clinical: 'may-wait' })
  })
})

describe('what the patient needs at the visit', () => {
  it.each([
    ['en', 'can a woman do it please'],
    ['en', 'I would like a female doctor'],
    ['en', 'I have been sexually abused, can a woman do it'],
    ['en', 'I was abused as a child'],
    ['en', 'I need an interpreter'],
    ['en', 'I use a wheelchair'],
    ['en', 'I am allergic to latex'],
    ['en', 'can I bring my sister with me'],
    ['en', 'I am scared of the speculum'],
    ['fr', 'est-ce possible avec une femme médecin'],
    ['fr', "j'ai besoin d'un interprète"],
    ['es', 'quiero una doctora'],
    ['es', 'necesito un intérprete'],
    ['uk', 'потрібен перекладач'],
    ['pa', 'ਔਰਤ ਡਾਕਟਰ ਚਾਹੀਦੀ ਹੈ'],
  ])('is no alarm: %s "%s"', (language, text) => {
    const { meanings, texts, reading } = said(text, language)
    expect(reading.needs).toBe(true)
    expect(meanings).not.toContain('urgent')
    expect(texts).not.toContain('alarm')
  })

  it.each(['my period started today', 'I can be there at 2', 'ok thanks', 'I am scared of my husband'])(
    'is not in "%s"',
    (text) => expect(read(text).needs).toBeUndefined(),
  )
})
