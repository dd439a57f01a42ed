import { beforeAll, describe, expect, it } from 'vitest'
import { FRAME_MS, FRAME_SAMPLES, hear, NOTHING_HEARD } from '../../../src/domain/messages/voice/hearing.ts'
import { machineToned, talkedOn, whatNow } from '../../../src/domain/messages/voice/who-answered.ts'
import { present } from '../../gateways/peers/programs.ts'
import { answers, voices, type Answer } from './answers.ts'

/** As many of either; the seed makes them the same everywhere that espeak-ng 1.51 is. */
const ANSWERS = 500
const SEED = 7

/** What came of an answer, in milliseconds since the call was picked up; 0 = never. */
interface Judged {
  answer: Answer
  spokenTo: number
  toned: number
  /** Talked on without a pause, when it was spoken to. */
  suspected: boolean
}

function judge(answer: Answer): Judged {
  const judged: Judged = { answer, spokenTo: 0, toned: 0, suspected: false }
  let heard = NOTHING_HEARD
  for (let at = 0; at + FRAME_SAMPLES <= answer.samples.length; at += FRAME_SAMPLES) {
    heard = hear(heard, answer.samples.subarray(at, at + FRAME_SAMPLES))
    if (!judged.spokenTo && whatNow(heard) === 'speak')
      Object.assign(judged, { spokenTo: heard.ms, suspected: talkedOn(heard) })
    if (!machineToned(heard)) continue
    judged.toned = heard.ms
    break
  }
  return judged
}

const percent = (part: readonly unknown[], whole: readonly unknown[]) => (100 * part.length) / whole.length

// Thresholds and mixture are ours, no source: the figures say what is to be expected, on synthetic voices only.
describe.skipIf(!present('espeak-ng', ['--version']) || !present('sox', ['--version']))('500 synthetic answers', () => {
  let persons: Judged[]
  let machines: Judged[]

  beforeAll(() => {
    const all = answers(ANSWERS, SEED, voices()).map(judge)
    persons = all.filter(({ answer }) => answer.who === 'person')
    machines = all.filter(({ answer }) => answer.who === 'machine')
    const slowest = Math.max(...persons.map(({ spokenTo }) => spokenTo))
    const figures = {
      'persons taken for machines, %': percent(
        persons.filter(({ toned }) => toned),
        persons,
      ),
      'the same without a beeping appliance, %': percent(
        persons.filter(({ toned, answer }) => toned && !answer.appliance),
        persons,
      ),
      'machines taken for persons, %': percent(
        machines.filter(({ toned }) => !toned),
        machines,
      ),
      'persons suspected at first, %': percent(
        persons.filter(({ suspected }) => suspected),
        persons,
      ),
      'machines spoken to before their tone, %': percent(
        machines.filter(({ spokenTo }) => spokenTo),
        machines,
      ),
      'median wait of a person, s': median(persons.flatMap(({ spokenTo }) => spokenTo || [])) / 1000,
      'longest wait of a person, s': slowest / 1000,
    }
    console.info(JSON.stringify(figures, null, 1))
  })

  it('take hardly a person for a machine, and none who stands beside no beeping appliance', () => {
    expect(persons).toHaveLength(ANSWERS / 2)
    const taken = persons.filter(({ toned }) => toned)
    expect(taken.filter(({ answer }) => !answer.appliance).map(({ answer }) => answer.about)).toEqual([])
    expect(percent(taken, persons)).toBeLessThanOrEqual(3)
  })

  it('suspect few persons of being machines, by how long they talk', () => {
    expect(
      percent(
        persons.filter(({ suspected }) => suspected),
        persons,
      ),
    ).toBeLessThanOrEqual(5)
  })

  it('take hardly a machine for a person, once it has beeped', () => {
    expect(machines).toHaveLength(ANSWERS / 2)
    expect(
      percent(
        machines.filter(({ toned }) => !toned),
        machines,
      ),
    ).toBeLessThanOrEqual(1)
  })

  it('know a tone within a tenth of a second of its end, and hardly before', () => {
    const late = machines.filter(({ toned }) => toned).map(({ toned, answer }) => toned - answer.toneEndsMs!)
    expect(Math.max(...late)).toBeLessThanOrEqual(100)
    expect(
      percent(
        late.filter((ms) => ms < -FRAME_MS),
        machines,
      ),
    ).toBeLessThanOrEqual(1)
  })

  it('keep nobody waiting for longer than eight seconds, and nineteen in twenty for six', () => {
    const waited = persons.flatMap(({ spokenTo, toned }) => (toned && !spokenTo ? [] : [spokenTo]))
    expect(Math.min(...waited)).toBeGreaterThan(0)
    expect(Math.max(...waited)).toBeLessThanOrEqual(8_000)
    expect(waited.filter((ms) => ms > 6_000).length / waited.length).toBeLessThanOrEqual(0.05)
    expect(median(waited)).toBeLessThanOrEqual(4_000)
  })
})

function median(values: readonly number[]): number {
  return [...values].sort((a, b) => a - b)[values.length >> 1]!
}
