import type { FullProtocol } from '../domain/preparation/protocol.ts'
import type { SurveySite } from '../domain/messages/texts/survey.ts'

/**
 * What the commands fill in where the user gives nothing: an invented clinic of 24 characters, a number reserved for
 * fiction, none for emergencies, and an address of 60 characters, so that what they show is also the longest that the
 * budget allows for.
 */
export const EXAMPLE_SITE = {
  clinic: 'Riverbend Medical Clinic',
  clinicPhone: '+1 613 555 0142',
  emergency: null,
  page: 'https://visits.example.org/v/q7Kd0Xw2mB5tRz9LhVn4cYs8Jf3aPeU',
}

/** The answers of all protocols, by language. */
export function answersByLanguage(protocols: Iterable<FullProtocol>): SurveySite['answers'] {
  const answers: Record<string, string[]> = {}
  for (const { answers: topics } of protocols) {
    for (const [language, { sentence }] of Object.values(topics).flatMap((byLanguage) => Object.entries(byLanguage))) {
      ;(answers[language] ??= []).push(sentence)
    }
  }
  return answers
}
