// How fast and how loud each language is said: the words of preparation and its keys, by the engine of calls.
import { espeak } from '../../src/adapters/gateways/speech/espeak.ts'
import { SAMPLE_RATE } from '../../src/domain/messages/voice/tone.ts'
import { loadCallPhrases } from '../../src/adapters/templates/load-call.ts'
import { loadSpoken } from '../../src/adapters/templates/load-spoken.ts'
import { loadTexts } from '../../src/adapters/templates/load-texts.ts'
import { firstPass } from '../../src/domain/messages/voice/call-script.ts'
import { FRAME_SAMPLES } from '../../src/domain/messages/voice/hearing.ts'
import { energyOf } from '../../src/domain/messages/voice/tone.ts'
import { callWriter } from '../../src/domain/messages/voice/write-script.ts'

const QUIET_DB = -50
/** Invented, with a number reserved for fiction. */
const VALUES = {
  clinic: 'Harbour Clinic',
  clinicPhone: '+1 613 555 0142',
  zone: 'America/Halifax',
  visit: new Date('2026-03-20T13:30:00Z'),
  mark: new Date('2026-03-18T13:30:00Z'),
}

export async function bench(): Promise<void> {
  const library = loadTexts()
  const writer = callWriter(library, loadCallPhrases(library))
  const speech = espeak({ spoken: loadSpoken() })
  if (!(await speech.ready())) return console.log('speech: espeak-ng or sox is not installed')
  console.log('speech, greeting and preparation  words/min  seconds  speech dBFS  peak dBFS')
  for (const language of ['en', 'fr', 'es', 'uk', 'pa']) {
    const { script } = writer.script({ kind: 'prep', language, detail: 'full', values: VALUES })
    const paragraphs = firstPass(script)
    const said = await Promise.all(paragraphs.map((words) => speech.speak(words, script)))
    const seconds = said.reduce((sum, { length }) => sum + length, 0) / SAMPLE_RATE
    const words = paragraphs
      .join(' ')
      .split(/[\s:]+/)
      .filter((word) => /[\p{L}\p{N}]/u.test(word)).length
    const frames = said.flatMap(framesOf)
    const spoken = frames.filter((frame) => decibels(meanSquare(frame)) > QUIET_DB)
    const level = decibels(spoken.reduce((sum, frame) => sum + meanSquare(frame), 0) / spoken.length)
    const peak = decibels(Math.max(...frames.map((frame) => Math.max(...frame.map(Math.abs)) ** 2)))
    const figures = [((words / seconds) * 60).toFixed(0), seconds.toFixed(1), level.toFixed(1), peak.toFixed(1)]
    console.log(`${language.padEnd(33)} ${figures.map((figure, n) => figure.padStart([9, 8, 12, 10][n]!)).join(' ')}`)
  }
}

function framesOf(samples: Int16Array): Int16Array[] {
  const count = Math.floor(samples.length / FRAME_SAMPLES)
  return Array.from({ length: count }, (_, n) => samples.subarray(n * FRAME_SAMPLES, (n + 1) * FRAME_SAMPLES))
}

const meanSquare = (frame: Int16Array) => energyOf(frame) / frame.length
const decibels = (square: number) => 10 * Math.log10(square / 32_768 ** 2 + 1e-10)
