import { describe, expect, it } from 'vitest'
import { msh, newsOf, pid, siu } from './messages.ts'

// Fields by position: HL7 v2.5.1 ch. 3 (PID), ch. 2.A (CX, XPN, XTN). Numbers are those reserved for fiction.
const person = (fields: Record<number, string>) => newsOf(siu({ PID: pid(fields) }))
const of = (fields: Record<number, string>) => person(fields).patient!

describe('ids', () => {
  it('are all told, with who gave them and what kind they are, sign for sign', () => {
    expect(of({ 3: '007^^^SKERRY^MR~7^^^&1.2.3&ISO^PI~""~^^^X~Ab' }).ids).toEqual([
      { value: '007', authority: 'SKERRY', type: 'MR' },
      { value: '7', authority: '1.2.3', type: 'PI' },
      { value: 'Ab', authority: '', type: '' },
    ])
  })
})

describe('the name', () => {
  it.each([
    // HL7 table 0200: L legal, D customary, M maiden.
    ['Young^Ann^^^^^M~Old^Ann^^^^^D~Mabel^Ines^^^^^L', 'Ines Mabel'],
    ['Young^Ann^^^^^M~Mabel^Ines^^^^^D', 'Ines Mabel'],
    ['Mabel^Ines~Other^Ines', 'Ines Mabel'],
    ['~Mabel^Ines', 'Ines Mabel'],
    ['van der Berg&van der&Berg^Ines', 'Ines van der Berg'],
    ['Mabel', 'Mabel'],
    ['^Ines', 'Ines'],
    ['O\\T\\Mara^Ines', 'Ines O&Mara'],
    ['""', null],
    ['', undefined],
  ])('%s', (written, name) => {
    expect(of({ 5: written }).name).toBe(name)
  })

  it('that lost letters before it came is not taken', () => {
    const { patient, doubts } = person({ 5: 'Andr\ufffd^Ines' })
    expect(patient!.name).toBeUndefined()
    expect(doubts.join()).toContain('lost letters')
  })
})

describe('the date of birth', () => {
  it.each([
    ['19910704', '1991-07-04', false],
    ['19910704103000', '1991-07-04', false],
    ['""', null, false],
    ['', undefined, false],
    ['1991', undefined, true],
    ['199107', undefined, true],
    ['19910231', undefined, true],
    ['4 July', undefined, true],
  ])('%s', (written, date, doubt) => {
    const { patient, doubts } = person({ 7: written })
    expect(patient!.birthDate).toBe(date)
    expect(doubts.some((one) => one.startsWith('PID-7'))).toBe(doubt)
  })
})

describe('numbers', () => {
  // XTN: tables 0201 (use) and 0202 (equipment).
  it.each([
    ['(902)555-0142', [['(902)555-0142', 'unknown']]],
    ['(902)555-0142^PRN^PH', [['(902)555-0142', 'fixed']]],
    ['(902)555-0142X12C(ask for Ines)^PRN^PH', [['(902)555-0142', 'fixed']]],
    [
      '9025550142^PRN^PH~9025550143^PRN^CP',
      [
        ['9025550143', 'mobile'],
        ['9025550142', 'fixed'],
      ],
    ],
    ['^PRN^CP^^1^902^5550142', [['+1 902 5550142', 'mobile']]],
    ['^ORN^CP^^^902^5550142', [['902 5550142', 'mobile']]],
    ['^PRN^CP^^+44^1632^960142', [['+44 1632 960142', 'mobile']]],
    ['^PRS^CP^^^^^^^^^+19025550142', [['+19025550142', 'mobile']]],
    ['9025550142^PRN', [['9025550142', 'unknown']]],
    // At work, for an emergency, by fax, to a pager: not the patient's own telephone.
    ['9025550142^WPN^PH~9025550143^EMR^CP~9025550144^PRN^FX~9025550145^BPN^BP', undefined],
    ['unknown', undefined],
    ['', undefined],
    ['""', null],
  ])('%s', (written, phones) => {
    const expected = phones && phones.map(([number, kind]) => ({ number, kind }))
    expect(of({ 13: written }).phones).toEqual(expected)
  })

  it('are read from PID-40 too (since 2.7), never from PID-14', () => {
    expect(of({ 13: '', 14: '9025550199^WPN^PH', 40: '^PRS^CP^^1^902^5550142' }).phones).toEqual([
      { number: '+1 902 5550142', kind: 'mobile' },
    ])
    expect(of({ 13: '""', 40: '9025550142' }).phones).toHaveLength(1)
  })

  it('and the e-mail address stand in one field', () => {
    expect(of({ 13: '9025550142^PRN^CP~^NET^Internet^ines@mail.example' })).toMatchObject({
      phones: [{ number: '9025550142' }],
      email: 'ines@mail.example',
    })
    expect(of({ 13: '^NET^Internet^ines@mail.example' })).toMatchObject({
      phones: undefined,
      email: 'ines@mail.example',
    })
    expect(of({ 13: 'ines@mail.example^NET^Internet' })).toMatchObject({
      phones: undefined,
      email: 'ines@mail.example',
    })
    expect(of({ 13: '9025550142^PRN^PH^ines@mail.example' })).toMatchObject({ email: 'ines@mail.example' })
    expect(of({ 13: '^WPN^Internet^office@mail.example' }).email).toBeUndefined()
    expect(of({ 13: '""' }).email).toBeNull()
    expect(of({ 13: '^NET^Internet^nowhere' }).email).toBeUndefined()
  })
})

describe('language and death', () => {
  it.each([
    [{ 15: 'fr' }, { language: 'fr' }],
    [{ 15: '^French' }, { language: 'French' }],
    [{ 15: '""' }, { language: null }],
    [{ 15: '' }, { language: undefined }],
    [{ 30: 'Y' }, { died: true }],
    [{ 30: 'N' }, { died: false }],
    [{ 30: '""' }, { died: null }],
    [{ 30: '' }, { died: undefined }],
    [{ 29: '20260301' }, { died: true }],
  ])('%j', (fields, told) => {
    expect(of(fields)).toMatchObject(told)
  })
})

describe('the last period', () => {
  // LOINC 8665-2, Last menstrual period start date.
  const obx = (value: string, toldOn = '20260301', code = '8665-2^LMP^LN', type = 'DT', status = 'F') =>
    `OBX|1|${type}|${code}||${value}||||||${status}|||${toldOn}`
  const lmp = (...where: Parameters<typeof obx>) => {
    const { patient, doubts } = newsOf(siu({ OBX: obx(...where) }))
    return { lmp: patient!.lmp, doubts: doubts.length }
  }

  it('is a whole date, with the day on which it was told', () => {
    const told = { lmp: { day: '2026-02-20', toldOn: '2026-03-01' }, doubts: 0 }
    expect(lmp('20260220')).toEqual(told)
    expect(lmp('20260220101500', '202603011000-0400', 'X^LMP^L^8665-2^LMP^LN', 'TS')).toEqual(told)
    expect(lmp('20260220', '')).toEqual({ lmp: { day: '2026-02-20', toldOn: null }, doubts: 0 })
  })

  it('that is part of a date is not told', () => {
    expect(lmp('202602')).toEqual({ lmp: undefined, doubts: 1 })
    expect(lmp('2026')).toEqual({ lmp: undefined, doubts: 1 })
    expect(lmp('about two weeks ago', '', '8665-2^LMP^LN', 'ST')).toEqual({ lmp: undefined, doubts: 1 })
  })

  // FHIR R4's own example of a last period (Observation-date-lastmp.json) lies after the day on which it was told.
  it('after the day on which it was told is a contradiction', () => {
    expect(lmp('20261230', '20260124')).toEqual({ lmp: undefined, doubts: 1 })
    expect(lmp('20260303', '')).toEqual({ lmp: undefined, doubts: 1 })
    expect(lmp('20260301')).toMatchObject({ lmp: { day: '2026-03-01' }, doubts: 0 })
  })

  it('is taken away by "", and left alone by what is empty, of another code, or taken back', () => {
    expect(lmp('""').lmp).toBeNull()
    expect(lmp('').lmp).toBeUndefined()
    expect(lmp('20260220', '', '8665-2^LMP^L').lmp).toBeUndefined()
    expect(lmp('20260220', '', '11778-8^EDD^LN').lmp).toBeUndefined()
    expect(lmp('20260220', '', '8665-2^LMP^LN', 'DT', 'W').lmp).toBeUndefined()
  })

  it('is the last of several, also in news of a patient alone', () => {
    const message = [msh('A31'), pid({}), obx('20260120'), obx('20260220')].join('\r')
    expect(newsOf(message).patient!.lmp).toMatchObject({ day: '2026-02-20' })
  })
})
