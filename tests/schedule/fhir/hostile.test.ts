import fc from 'fast-check'
import { expect, it } from 'vitest'
import { operationOutcome } from '../../../src/adapters/schedule/fhir/operation-outcome.ts'
import { readFhir, readNdjson } from '../../../src/adapters/schedule/fhir/read-fhir.ts'
import { CONTEXT, FEED } from '../invented-feed.ts'
import { mutatedJson, mutatedText } from '../mutated.ts'
import { appointment, bundle, lmp, patient, slot } from './resources.ts'

const RESOURCES = [
  appointment(),
  patient({ birthDate: '1990-05-17', link: [{ type: 'replaces', other: { reference: 'Patient/p2' } }] }),
  lmp(),
  slot(),
  bundle('history', appointment(), patient(), slot(), lmp(), {
    request: { method: 'DELETE', url: 'Appointment/a1' },
    response: { etag: 'W/"4"' },
  }),
]

/** Whether news can be acted on: a visit that is booked has a real time and a key. */
function check(answers: ReturnType<typeof readFhir>): void {
  for (const answer of answers) {
    expect(operationOutcome(answer).issue.length).toBeGreaterThan(0)
    if (!('news' in answer)) continue
    for (const { event, key, visit } of answer.news) {
      if (event !== 'booked') continue
      expect(key?.id).toMatch(/./)
      expect(visit?.startsAt?.getTime()).toBeGreaterThan(-Infinity)
      expect(visit?.minutes).toBeGreaterThan(0)
    }
  }
}

it('whatever is sent is answered, never thrown at', () => {
  const news: number[] = []
  fc.assert(
    fc.property(mutatedJson(RESOURCES), (sent) => {
      const answers = readFhir(sent, FEED, CONTEXT)
      check(answers)
      news.push(answers.filter((one) => 'news' in one).length)
    }),
    { numRuns: 3_000 },
  )
  // Of what was changed a little much is still read: else the test would try nothing.
  expect(news.filter((count) => count > 0).length).toBeGreaterThan(500)
})

it('nor are lines', () => {
  const lines = RESOURCES.map((one) => JSON.stringify(one)).join('\n')
  fc.assert(
    fc.property(mutatedText([lines]), (text) => check(readNdjson(text, FEED, CONTEXT))),
    { numRuns: 500 },
  )
})
