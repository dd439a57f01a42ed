import { execFileSync } from 'node:child_process'
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { espeak } from '../../src/adapters/gateways/speech/espeak.ts'
import { SAMPLE_RATE } from '../../src/domain/messages/voice/tone.ts'
import { silence, writeWave } from '../../src/adapters/gateways/speech/wave.ts'
import { present } from './peers/programs.ts'

const here = () => present('espeak-ng', ['--version']) && present('sox', ['--version'])

describe.skipIf(!here())('speech by espeak-ng', () => {
  let folder: string
  beforeAll(async () => void (folder = await mkdtemp(join(tmpdir(), 'daysix-speech-'))))
  afterAll(() => rm(folder, { recursive: true }))
  const speech = espeak()
  const say = async (words: string, language = 'en') =>
    (await speech.speak(words, { language, locale: language })).length / SAMPLE_RATE
  const soxi = (file: string, option: string) => execFileSync('soxi', [option, file]).toString().trim()

  it('is telephone audio of the length it says, by sox’s own reading', async () => {
    const words = await speech.speak('Your visit is on Friday, March 20. Thank you.', { language: 'en', locale: 'en' })
    const seconds = words.length / SAMPLE_RATE
    const file = await writeWave(join(folder, 'x.wav'), [words, silence(0.5), words], 7)
    expect(['-r', '-c', '-b', '-e'].map((option) => soxi(file, option))).toEqual([
      ...['8000', '1', '16', 'Signed Integer PCM'],
    ])
    expect(seconds).toBeGreaterThan(2)
    expect(seconds).toBeLessThan(8)
    expect(Number(soxi(file, '-D'))).toBeCloseTo(seconds * 2 + 0.5 + 7, 2)
  })

  it('speaks every language of the templates, and no other', async () => {
    for (const language of ['en', 'es', 'fr', 'pa', 'uk'])
      expect(await say('1 2 3', language), language).toBeGreaterThan(0.5)
    expect(speech.speaks('so')).toBe(false)
    await expect(say('hello', 'xx-none')).rejects.toThrow('espeak-ng could not make speech')
  })

  it('takes signs of mark-up, options and phonemes for words', async () => {
    const plain = await say('Fish and chips')
    expect(await say('Fish & chips')).toBeCloseTo(plain, 0)
    expect(await say('-q --version [[fish]] <break time="20s"/>')).toBeLessThan(15)
    expect(await say('--help')).toBeGreaterThan(0.2)
  })

  it('says a Ukrainian word the same, whichever apostrophe somebody typed', async () => {
    const seconds = await say('п\u2019ятниця', 'uk')
    // Spelled out sign by sign it would take several times as long.
    expect(await say('п\u02bcятниця', 'uk')).toBeCloseTo(seconds, 3)
    expect(await say("п'ятниця", 'uk')).toBeCloseTo(seconds, 3)
  })

  it('says so when its program is missing', async () => {
    const [path] = [process.env.PATH]
    process.env.PATH = folder
    try {
      expect(await speech.ready()).toBe(false)
      await expect(say('hello')).rejects.toThrow('espeak-ng')
    } finally {
      process.env.PATH = path
    }
    expect(await speech.ready()).toBe(true)
  })
})
