import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { read } from './reading.ts'

const TEMPLATES = new URL('../../templates/', import.meta.url)

// How phones send a reaction where they cannot show it, and mail quotes, in forms seen on common phones; from
// memory, no source.
const DAY_BEFORE =
  'Demo Clinic: Your visit is on Fri Mar 20 10:30am. If your period has started, or you cannot come, reply now.'
const CYCLE_CHECK = 'Demo Clinic: Has your period started? If so, reply with the date it began. If not, reply NOT YET.'
const STOPPED =
  'Demo Clinic: You will get no more texts from us. Your visit stays booked. Reply START to get texts again.'
const HELP = 'Demo Clinic: We text you about your visit. Questions? Call 1-782-555-0190. Reply STOP to end texts.'
const LAPSE =
  'Demo Clinic: Thank you for telling us. Please still come on Fri Mar 20. We will call you if a new time is better.'
const OURS = [DAY_BEFORE, CYCLE_CHECK, STOPPED, HELP, LAPSE]

const APPROVING = [
  'Liked “%”',
  'Loved “%”',
  'Laughed at “%”',
  'Liked "%"',
  '👍 to “%”',
  '❤️ to “%”',
  'Reacted 👍 to “%”',
  '\u200b👍\u200b to “\u200a%\u200a”',
  'A aimé « % »',
  'A adoré «\u00a0%\u00a0»',
  'A réagi avec 👍 à « % »',
  'Le gustó “%”',
  'Le encantó «%»',
  'Reaccionó con 👍 a “%”',
  'Вподобано «%»',
  '“%” ਨੂੰ ਪਸੰਦ ਕੀਤਾ',
]
const DOUBTING = [
  'Disliked “%”',
  'Emphasized “%”',
  'Emphasised “%”',
  'Questioned “%”',
  '👎 to “%”',
  'Reacted 👎 to “%”',
  'Reacted ‼️ to “%”',
  '❓ to “%”',
  'Removed a like from “%”',
  'Removed a heart from “%”',
  'Removed an exclamation from “%”',
  'Removed 👍 from “%”',
  'N’a pas aimé « % »',
  'A mis en évidence « % »',
  'No le gustó “%”',
  'Enfatizó “%”',
  'A supprimé un « J’aime » de « % »',
  'Quitó un me gusta de “%”',
  'Не сподобалося «%»',
]

describe('a reaction to a text of ours', () => {
  it.each(APPROVING)('is a thanks at most, whatever it quotes: %s', (form) => {
    for (const ours of OURS) expect(read(form.replace('%', ours)).meaning, ours).toBe('thanks')
  })

  it.each(DOUBTING)('that doubts, or is taken back, is for a person: %s', (form) => {
    for (const ours of OURS) expect(read(form.replace('%', ours)).meaning, ours).toBe('unclear')
  })

  it('is no more than that to any text that we send, in any language', () => {
    const texts = readdirSync(TEMPLATES).flatMap((language) => {
      const file = new URL(`${language}/sms.yaml`, TEMPLATES)
      const kinds = existsSync(file) ? parse(readFileSync(file, 'utf8')) : {}
      return Object.values(kinds as Record<string, { full: string }>)
    })
    expect(texts.length).toBeGreaterThanOrEqual(100)
    for (const { full } of texts) {
      expect(read(`Liked “${full}”`, { choices: 1 }).meaning, full).toBe('thanks')
      expect(read(`Disliked “${full}”`, { choices: 1 }).meaning, full).toBe('unclear')
      expect(read(full, { said: [full] }).meaning, full).toBe('unclear')
      expect(read(`> ${full.replaceAll('\n', '\n> ')}`, { choices: 1 }).meaning, full).toBe('unclear')
    }
  })

  it('is one too when the phone cut the quotation short', () => {
    expect(read('Liked “Demo Clinic: Has your period started? If so, reply with…”').meaning).toBe('thanks')
    expect(read('Liked “Demo Clinic: Has your period started? If not, reply NOT YET').meaning).toBe('thanks')
  })

  it('is no answer to what was asked', () => {
    expect(read(`Liked “${CYCLE_CHECK}”`, { asked: 'started' }).meaning).toBe('thanks')
    expect(read(`👍 to “${DAY_BEFORE}”`, { choices: 1 }).meaning).toBe('thanks')
  })

  it('is told apart from a patient who likes something', () => {
    expect(read('I liked the nurse. My period started yesterday').startedOn).toBe('2026-03-17')
    expect(read('the doctor said "stop using tampons", can I take a bath?').meaning).toBe('prep-question')
  })
})

describe('words beside a quotation', () => {
  it.each([
    [`> ${CYCLE_CHECK}\nYes, yesterday`, 'period-started'],
    [`I can't come\n> ${CYCLE_CHECK}\n> ${DAY_BEFORE}`, 'cannot-come'],
    [`See you then!\n\nOn Tue, Mar 17, 2026 at 9:00 AM Demo Clinic <a@b.example> wrote:\n${CYCLE_CHECK}`, 'confirm'],
    [`See you then! On Mar 17, 2026, at 9:00 AM, Demo Clinic wrote: ${CYCLE_CHECK}`, 'confirm'],
    [`À demain\nLe mar. 17 mars 2026 à 09:00, Clinique Démo a écrit :\n> ${CYCLE_CHECK}`, 'confirm'],
    [`Ahí estaré\nEl mar, 17 mar 2026 a las 9:00, Clínica escribió:\n${STOPPED}`, 'confirm'],
    [`Прийду\nвт, 17 бер. 2026 р. о 09:00 Клініка пише:\n${STOPPED}`, 'confirm'],
    [`ਆਵਾਂਗੀ\nਮੰਗਲ, 17 ਮਾਰਚ 2026 ਨੂੰ 9:00 ਵਜੇ ਕਲੀਨਿਕ ਨੇ ਲਿਖਿਆ:\n${STOPPED}`, 'confirm'],
    [`Liked “${CYCLE_CHECK}” I can't come on Friday`, 'cannot-come'],
    [`> ${HELP}\nSTOP`, 'stop'],
  ])('are read alone: %j', (text, meaning) => expect(read(text).meaning).toBe(meaning))

  it('are none in a text that only quotes', () => {
    for (const text of [`> ${CYCLE_CHECK}`, `On Mar 17, 2026 at 9:00 Demo Clinic wrote: ${DAY_BEFORE}`])
      expect(read(text).meaning).toBe('unclear')
  })

  it('are not taken for a quotation in a patient’s tale that somebody wrote', () => {
    expect(read('On Monday my doctor wrote: come anyway. My period started yesterday').startedOn).toBe('2026-03-17')
    expect(read('on 3/14 she wrote: come anyway. My period started yesterday').startedOn).toBe('2026-03-17')
  })
})

describe('our own last texts, sent back without any sign of quotation', () => {
  const said = OURS
  it.each([
    [CYCLE_CHECK, 'unclear'],
    [DAY_BEFORE, 'unclear'],
    [HELP, 'unclear'],
    [`${DAY_BEFORE} ok I'll be there`, 'confirm'],
    [`has your period started? yes, yesterday`, 'period-started'],
    [`No I can come (you cannot come, reply now)`, 'confirm'],
    [`If your period has started, or you cannot come, reply now: I can't make it`, 'cannot-come'],
  ])('are dropped before reading: %j', (text, meaning) =>
    expect(read(text, { said, asked: 'coming' }).meaning).toBe(meaning),
  )

  it('do not swallow a short answer that repeats a few of their words', () => {
    expect(read('NOT YET', { said }).meaning).toBe('not-started')
    expect(read('reply NOT YET', { said }).meaning).toBe('not-started')
    expect(read('STOP', { said }).meaning).toBe('stop')
    expect(read('STOP to end texts', { said }).meaning).toBe('stop')
    expect(read('NO SÉ', { language: 'es', said: ['Responda con la fecha, o NO SÉ.'] }).meaning).toBe('unclear')
    const asked = 'ਕੀ ਤੁਹਾਡੀ ਮਾਹਵਾਰੀ ਸ਼ੁਰੂ ਹੋ ਗਈ ਹੈ? ਜੇ ਨਹੀਂ, ਤਾਂ ਲਿਖੋ: ਅਜੇ ਨਹੀਂ।'
    expect(read('ਮਾਹਵਾਰੀ ਸ਼ੁਰੂ ਹੋ ਗਈ ਹੈ', { language: 'pa', said: [asked] }).meaning).toBe('period-started')
    expect(read(asked, { language: 'pa', said: [asked] }).meaning).toBe('unclear')
  })

  it('leave a line of an offer as the answer that it is', () => {
    const offer =
      'Demo Clinic: Open times:\n\n1: Tue Mar 24 9:00am\n2: Thu Mar 26 9:30am\n\nReply 1 or 2. Or call 1-782-555-0190.'
    expect(read('2: Thu Mar 26 9:30am', { said: [offer], choices: 2 }).meaning).not.toBe('thanks')
    expect(read(offer, { said: [offer], choices: 2 }).meaning).toBe('unclear')
  })
})
