import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { DateTime } from 'luxon'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { loadProtocols } from '../../src/adapters/templates/load-protocols.ts'
import { loadVocabulary } from '../../src/adapters/templates/load-vocabulary.ts'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import type { Failure } from '../../src/domain/failure.ts'
import { COMMON_RULES } from '../../src/domain/messages/texts/kinds.ts'
import { badWords } from '../../src/domain/messages/texts/text-rules.ts'

const shipped = loadProtocols()
const all = [...shipped.values()]
const { languages } = loadTexts()

describe('the shipped protocols', () => {
  test('there is one for each of the four specimen kinds', () => {
    expect([...shipped.keys()].sort()).toEqual([
      'clinician-hpv',
      'conventional-smear',
      'liquid-based-cytology',
      'self-collected-hpv',
    ])
  })

  test('for 48 hours no sex, lubricant, douche or vaginal medicine that she bought (common practice, no source)', () => {
    for (const { avoid, prepHours } of all.filter(({ id }) => id !== 'self-collected-hpv')) {
      expect(avoid.map(({ what }) => what)).toEqual(expect.arrayContaining([...COMMON_RULES]))
      expect(new Set(avoid.map(({ hours }) => hours))).toEqual(new Set([48]))
      expect(prepHours).toBe(48)
    }
  })

  test('prescribed medicine is fine in every one of them, and never among the things to avoid', () => {
    for (const { avoid, fine } of all) {
      expect(fine).toContain('prescribed-medicine')
      expect(avoid.map(({ what }) => what)).not.toContain('prescribed-medicine')
    }
  })

  test('days 1 to 5 are avoided, and the ideal day is 15, two weeks after the first day of the period (common practice, no source)', () => {
    for (const { avoidDays, idealDay, idealWindow } of all) {
      expect(avoidDays).toMatchObject({ first: 1, last: 5 })
      expect(idealDay).toBe(15)
      expect(idealWindow.first).toBeGreaterThan(5)
    }
    // Computed by hand: LMP 1 March 2026, day 15 = 15 March, days 11-19 = 11 to 19 March.
    const { idealDay, idealWindow } = shipped.get('liquid-based-cytology')!
    const onDay = (cycleDay: number): string =>
      DateTime.fromISO('2026-03-01', { zone: 'utc' })
        .plus({ days: cycleDay - 1 })
        .toISODate()!
    expect([idealDay, idealWindow.first, idealWindow.last].map(onDay)).toEqual([
      '2026-03-15',
      '2026-03-11',
      '2026-03-19',
    ])
  })

  test('no shipped protocol says how long a specimen keeps: laboratories differ, so the site sets it', () => {
    for (const { id, vial } of all) expect(vial, id).toBeNull()
  })

  // One maker's vial has a safety seal, marks on its cap, trays of 25 and six weeks of stability; others do not.
  test('no shipped protocol says what one maker of vials directs', () => {
    for (const { id, checklist, sources } of all) {
      const said = [...checklist.flatMap(({ text, source }) => [text, source]), ...Object.values(sources)].join(' ')
      expect(said, id).not.toMatch(/\bseal|\bmarks?\b|\btrays?\b|\b25\b|\b42\b|six weeks/i)
      expect(said, id).not.toMatch(/room temperature|neither dark nor cold/i)
    }
  })

  test('a quarter to half a turn is for the endocervical brush alone (common practice, no source)', () => {
    for (const { id, checklist } of all) {
      for (const { text, id: line } of checklist.filter((item) => /\b(quarter|half)\b/.test(item.text))) {
        expect(`${id} ${line}`).toBe(`${id} brush`)
        expect(text).toMatch(/^Endocervical brush - /)
      }
      const others = checklist.filter(({ text }) => /\b(broom|swab)\b/i.test(text))
      for (const { text } of others) expect(text).not.toMatch(/quarter|half/)
    }
    const withBrush = all.filter(({ checklist }) => checklist.some(({ id }) => id === 'brush')).map(({ id }) => id)
    expect(withBrush.sort()).toEqual(['clinician-hpv', 'conventional-smear', 'liquid-based-cytology'])
  })

  test('after a birth on 1 March 2026 the twelve-week rule allows 24 May (Scottish programme guidance 10.4.8)', () => {
    for (const { deferrals } of all) {
      const birth = deferrals.find(({ after }) => after === 'birth')!
      expect(DateTime.fromISO('2026-03-01', { zone: 'utc' }).plus({ days: birth.days! }).toISODate()).toBe('2026-05-24')
      // Cancer Council Australia says six weeks at least: sources conflict, so the site decides.
      expect(birth.conflicts.join()).toMatch(/6 weeks/)
    }
  })

  test('where no source gives a figure, the clinic decides', () => {
    for (const { deferrals } of all) {
      // Three calendar months, in days: the Irish programme.
      expect(deferrals.find(({ after }) => after === 'miscarriage')!.days).toBe(90)
      for (const after of ['infection', 'procedure'])
        expect(deferrals.find((deferral) => deferral.after === after)!.days).toBeNull()
    }
  })

  test('every value has its source beside it, and a date by which somebody looks at it again', () => {
    for (const { sources, avoid, deferrals, checklist, reviewBy, version } of all) {
      const written = [...Object.values(sources), ...[...avoid, ...deferrals, ...checklist].map(({ source }) => source)]
      for (const source of written) expect(source.length).toBeGreaterThan(15)
      expect(sources).toHaveProperty('avoidDays')
      expect(sources).toHaveProperty('ideal')
      expect(reviewBy).toMatch(/^\d{4}-\d{2}-\d{2}$/)
      expect(version).toBeGreaterThan(0)
    }
  })

  test('the checklist begins with who the patient is, and leaves no device in the vial (common practice)', () => {
    for (const { checklist } of all) expect(checklist[0]!.text).toMatch(/name and date of birth/)
    const steps = shipped.get('liquid-based-cytology')!.checklist.map(({ text }) => text)
    expect(steps.join(' ')).toMatch(/360 degrees.*quarter to half turn.*Do not leave a device/)
    const withLid = steps.filter((text) => /\b(open|close)\b/i.test(text))
    for (const step of withLid) expect(step).toMatch(/maker's directions/)
  })

  test('each is named in every language', () => {
    for (const { names } of all) expect(Object.keys(names).sort()).toEqual([...languages.keys()].sort())
  })
})

describe('answers to preparation questions', () => {
  test('days to avoid are softer for an HPV test than for cytology (Irish programme, Health NZ)', () => {
    const strengths = Object.fromEntries(all.map(({ id, avoidDays }) => [id, avoidDays!.strength]))
    expect(strengths).toEqual({
      'clinician-hpv': 'soft',
      'conventional-smear': 'hard',
      'liquid-based-cytology': 'hard',
      'self-collected-hpv': 'soft',
    })
  })

  test('tampons and spermicide are among what cytology asks to avoid (a cytology society, 2000)', () => {
    for (const id of ['liquid-based-cytology', 'conventional-smear'])
      expect(shipped.get(id)!.avoid.map(({ what }) => what)).toEqual(expect.arrayContaining(['tampon', 'spermicide']))
  })

  test('nothing is asked of a patient who takes the swab, since no published hours were found', () => {
    expect(shipped.get('self-collected-hpv')).toMatchObject({ avoid: [], prepHours: 0 })
  })

  test('every topic is answered in every language', () => {
    for (const { answers } of all.filter(({ avoid }) => avoid.length > 0)) {
      for (const topic of [
        'bath',
        'tampon',
        'sex',
        'prescription',
        'cream',
        'lubricant',
        'douche',
        'food',
        'pads',
        'shave',
      ]) {
        expect(Object.keys(answers[topic]!).sort(), topic).toEqual([...languages.keys()].sort())
      }
    }
  })

  test('every topic a reply can be about is answered, or left to a person on purpose', () => {
    // No source and no common practice says anything about these.
    const forAPerson = ['swim', 'exercise', 'medicine']
    const read = [...loadVocabulary().languages.values()].flatMap(({ topics }) => [...topics.values()])
    expect(new Set(read).size).toBeGreaterThan(5)
    const { answers } = shipped.get('liquid-based-cytology')!
    expect([...new Set(read)].filter((topic) => !answers[topic]).sort()).toEqual(forAPerson.sort())
  })

  test('the hours are those of the protocol, and no placeholder is left', () => {
    for (const { answers } of all) {
      for (const { sentence } of Object.values(answers).flatMap((byLanguage) => Object.values(byLanguage)))
        expect(sentence).not.toMatch(/[{}]/)
      for (const { sentence } of Object.values(answers.sex ?? {})) expect(sentence).toContain('48')
    }
  })

  test('prescribed medicine is always to be kept, also where the question is about a cream', () => {
    const { answers } = shipped.get('liquid-based-cytology')!
    expect(answers.prescription!.en!.sentence).toMatch(/^Please keep/)
    expect(answers.cream!.en!.sentence).toMatch(/Keep using what was prescribed\.$/)
  })

  test('no answer speaks of a result', () => {
    for (const { answers } of all) {
      for (const byLanguage of Object.values(answers)) {
        for (const [code, { sentence }] of Object.entries(byLanguage))
          expect(badWords(sentence, languages.get(code)!.never), sentence).toEqual([])
      }
    }
  })

  test('are drafts as shipped: only a site approves', () => {
    const byTopic = all.flatMap(({ answers }) => Object.values(answers))
    const everyAnswer = byTopic.flatMap((byLanguage) => Object.values(byLanguage))
    expect(everyAnswer.length).toBeGreaterThan(100)
    for (const { state } of everyAnswer) expect(state).toBe('draft')
  })
})

describe('a site', () => {
  let site: string
  beforeEach(() => {
    site = mkdtempSync(join(tmpdir(), 'site-'))
    mkdirSync(join(site, 'protocols'))
  })
  afterEach(() => rmSync(site, { recursive: true }))
  const write = (name: string, words: string): void => writeFileSync(join(site, 'protocols', name), words)

  test('changes one value of a shipped protocol by naming it, and only that; what was planned by the old one can be told', () => {
    write(
      'lbc.yaml',
      'id: liquid-based-cytology\navoid:\n  - { what: sex, hours: 72, source: Our laboratory }\n  - { what: tampon, hours: 24, source: Our laboratory }\n',
    )
    const changed = loadProtocols(undefined, site).get('liquid-based-cytology')!
    const before = shipped.get('liquid-based-cytology')!
    expect(changed.prepHours).toBe(72)
    expect(changed.answers.sex!.en!.sentence).toContain('72 hours')
    expect(changed.answers.tampon!.en!.sentence).toContain('do not use tampons for the 24 hours')
    // It no longer says anything about lubricant: a person answers.
    expect(changed.answers.lubricant).toBeUndefined()
    expect(changed.checklist).toEqual(before.checklist)
    expect(changed.digest).not.toBe(before.digest)
    expect(loadProtocols().get('liquid-based-cytology')!.digest).toBe(before.digest)
  })

  test('says that something is fine after all, answers in its own words, or leaves a topic to a person', () => {
    write(
      'lbc.yaml',
      [
        'id: liquid-based-cytology',
        'fine: [prescribed-medicine, lubricant]',
        'avoid: [{ what: sex, hours: 48, source: Our laboratory }]',
        'answers:',
        '  bath: null',
        '  pool: { en: { sentence: A swim is fine., by: Lead nurse, on: 2026-11-01 } }',
      ].join('\n'),
    )
    const { answers } = loadProtocols(undefined, site).get('liquid-based-cytology')!
    expect(answers.lubricant!.en!.sentence).toBe('Lubricant is fine before this visit.')
    expect(answers.bath).toBeUndefined()
    expect(answers.pool).toEqual({ en: { sentence: 'A swim is fine.', state: 'approved' } })
  })

  test('sets how long a specimen keeps in its medium, with its source', () => {
    write(
      'lbc.yaml',
      ['id: liquid-based-cytology', 'vial: { medium: the blue vial, keepsDays: 21, source: Our laboratory 2026 }'].join(
        '\n',
      ),
    )
    const { vial } = loadProtocols(undefined, site).get('liquid-based-cytology')!
    expect(vial).toEqual({ medium: 'the blue vial', keepsDays: 21, source: 'Our laboratory 2026' })
    write('lbc.yaml', 'id: liquid-based-cytology\nvial: { keepsDays: 21 }\n')
    expect(() => loadProtocols(undefined, site)).toThrow(/vial\.source/)
  })

  test('adds a protocol of its own that any cycle day suits', () => {
    write(
      'own.yaml',
      [
        'id: urine-hpv',
        'version: 1',
        'reviewBy: 2027-01-01',
        'names: { en: HPV test on urine }',
        'avoid: []',
        'fine: []',
        'avoidDays: null',
        'ideal: { day: 15, first: 1, last: 45, source: Our laboratory }',
        'vial: null',
        'deferrals: []',
        'checklist: []',
      ].join('\n'),
    )
    expect(loadProtocols(undefined, site).get('urine-hpv')).toMatchObject({ prepHours: 0, avoidDays: null })
    expect(loadProtocols(undefined, site).size).toBe(5)
  })

  test('is told of every fault in one list', () => {
    write('a.yaml', 'id: liquid-based-cytology\navoid: [{ what: sex, hours: -1, source: x }]\nsauna: forbidden\n')
    write('b.yaml', 'id: Not An Id\n')
    write('c.yaml', 'version: 3\n')
    try {
      loadProtocols(undefined, site)
      expect.unreachable()
    } catch (error) {
      const fields = (error as Failure).detail.faults!.map(({ field }) => field.replace(/^.*protocols\//, ''))
      expect(fields).toEqual(
        expect.arrayContaining(['a.yaml › avoid.0.hours', 'b.yaml › id', 'b.yaml › version', 'c.yaml › id']),
      )
      expect((error as Failure).detail.message).toContain('sauna')
    }
  })

  test('cannot make days run backwards', () => {
    write(
      'a.yaml',
      'id: liquid-based-cytology\navoidDays: { first: 5, last: 1, source: Our laboratory }\nideal: { day: 30, first: 11, last: 19, source: x }\n',
    )
    expect(() => loadProtocols(undefined, site)).toThrow(/avoidDays.*\n.*ideal/)
  })

  test('cannot ask to avoid something that a language has no words for, since its texts would leave it out', () => {
    write('a.yaml', 'id: liquid-based-cytology\navoid: [{ what: sauna, hours: 48, source: Our laboratory }]\n')
    expect(() => loadProtocols(undefined, site)).toThrow(/Language fr has no words for “sauna”/)
  })

  test('cannot ask to avoid prescribed medicine', () => {
    write(
      'a.yaml',
      'id: liquid-based-cytology\navoid: [{ what: prescribed-medicine, hours: 48, source: Our laboratory }]\n',
    )
    expect(() => loadProtocols(undefined, site)).toThrow(/never told to stop prescribed medicine/)
  })
})
