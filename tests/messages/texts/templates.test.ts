import { rmSync, writeFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { loadPageTexts } from '../../../src/adapters/templates/load-page.ts'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import { editedTemplates, faults } from './edited-templates.ts'

const { edit, path } = editedTemplates()

describe('a fault in the templates stops the start, with all faults in one list', () => {
  test('a missing kind, a value that does not exist, a hidden value and a broken bracket', () => {
    edit('fr/sms.yaml', 'wrong-person:', 'wrong-persons:')
    edit('en/sms.yaml', 'other {\n    Your visit stays on {visit}.}}', "other { It stays on '{visit}', {name}.}}")
    edit('es/sms.yaml', 'Vea la respuesta en {page}', 'Vea la respuesta en {page')
    const found = faults(() => loadTexts(path()))
    expect(found).toEqual(
      expect.arrayContaining([
        expect.stringMatching(/^es\/sms\.yaml › answer\.discreet: This is not ICU MessageFormat/),
        expect.stringMatching(/^fr\/sms\.yaml › wrong-person/),
        "en/sms.yaml › no-change.full: An apostrophe right before { hides the value. Write ’, or '' for one apostrophe.",
        'en/sms.yaml › no-change.full: It must say {visit}.',
        'en/sms.yaml › no-change.full: There is no value {name}.',
      ]),
    )
  })

  test('a discreet text that names the reason, in any language', () => {
    edit('fr/sms.yaml', 'La réponse est ici: {page}', 'La réponse sur vos règles est ici: {page}')
    edit('pa/sms.yaml', 'ਜਵਾਬ ਇੱਥੇ ਪੜ੍ਹੋ: {page}', 'ਮਾਹਵਾਰੀ ਬਾਰੇ ਜਵਾਬ: {page}')
    edit(
      'en/voice.yaml',
      'Hello. This is {clinic}. Please call us',
      'Hello. This is {clinic} about your smear. Please call us',
    )
    const found = faults(() => loadTexts(path()))
    expect(found).toContain('fr/sms.yaml › answer.discreet: A discreet text may not say “règles”.')
    expect(found).toContain('pa/sms.yaml › answer.discreet: A discreet text may not say “ਮਾਹਵਾਰੀ”.')
    expect(found).toContain('en/voice.yaml › prep.voicemail: A discreet text may not say “smear”.')
  })

  test('a text that speaks of a result, and one that tells what to avoid to whoever picks up the phone', () => {
    edit('en/sms.yaml', '{Thank you for telling us.}', '{Your results are negative.}')
    edit('uk/voice.yaml', 'У нас для Вас повідомлення.', 'Уникайте {avoid}.')
    const found = faults(() => loadTexts(path()))
    expect(found).toContain('en/sms.yaml › no-change.full: It speaks of a result or a diagnosis: “results”.')
    expect(found).toContain('en/sms.yaml › no-change.full: It speaks of a result or a diagnosis: “negative”.')
    expect(found).toContain('uk/voice.yaml › prep.discreet: A discreet text may not say {avoid}.')
  })

  test('a first message that does not say how to stop, or how to reach the clinic', () => {
    edit('es/sms.yaml', '¿Preguntas? {phone}.\n    Para no recibir mensajes, responda STOP.', 'Hasta pronto.')
    const found = faults(() => loadTexts(path()))
    expect(found).toEqual([
      'es/sms.yaml › confirmation.full: It must say {phone}.',
      'es/sms.yaml › confirmation.full: It must say how to stop: STOP.',
    ])
  })

  test('an alarm or a page that names no number for emergencies', () => {
    edit('pa/sms.yaml', 'other {{emergency}}', 'other {112}')
    edit('en/sms.yaml', '{emergency, select, none {your local emergency number} other {{emergency}}}', '911')
    edit('fr/page.yaml', '{emergency, select, none', '{urgence, select, none')
    edit('es/page.yaml', 'Tomar el {when}', 'Tomar esta')
    expect(faults(() => loadTexts(path()))).toEqual([
      'en/sms.yaml › alarm.full: It must say {emergency}.',
      'en/sms.yaml › alarm.discreet: It must say {emergency}.',
    ])
    expect(faults(() => loadPageTexts(path()))).toEqual([
      'es/page.yaml › answers.take: It must say {when}.',
      'fr/page.yaml › urgent.text: There is no value {urgence} here.',
    ])
  })

  test('a file that is not YAML, and one that is missing', () => {
    writeFileSync(path('fr/sms.yaml'), 'confirmation: [')
    rmSync(path('uk/voice.yaml'))
    const found = faults(() => loadTexts(path()))
    expect(found).toEqual([
      expect.stringMatching(/^fr\/sms\.yaml: This is not YAML/),
      'uk/voice.yaml: This file is missing.',
    ])
  })
})
