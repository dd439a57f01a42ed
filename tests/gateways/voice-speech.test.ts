import { execFileSync } from 'node:child_process'
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { espeak } from '../../src/adapters/gateways/speech/espeak.ts'
import { present } from './peers/programs.ts'

const here = () => present('espeak-ng', ['--version']) && present('sox', ['--version'])

describe.skipIf(!here())('speech by espeak-ng', () => {
  let folder: string
  beforeAll(async () => void (folder = await mkdtemp(join(tmpdir(), 'daysix-speech-'))))
  afterAll(() => rm(folder, { recursive: true }))
  const speech = espeak()
  const say = (words: string[], language = 'en', silence = 0) =>
    speech.speak(words, { language, locale: language }, join(folder, 'x.wav'), silence)
  const soxi = (option: string) =>
    execFileSync('soxi', [option, join(folder, 'x.wav')])
      .toString()
      .trim()

  it('is telephone audio of the length it says, by sox’s own reading', async () => {
    const { seconds } = await say(['Your visit is on Friday, March 20.', 'Thank you.'], 'en', 7)
    expect([soxi('-r'), soxi('-c'), soxi('-b'), soxi('-e')]).toEqual(['8000', '1', '16', 'Signed Integer PCM'])
    expect(seconds).toBeGreaterThan(2)
    expect(seconds).toBeLessThan(8)
    expect(Number(soxi('-D'))).toBeCloseTo(seconds + 7, 1)
  })

  it('speaks every language of the templates, and no other', async () => {
    for (const language of ['en', 'es', 'fr', 'pa', 'uk'])
      expect((await say(['1 2 3'], language)).seconds, language).toBeGreaterThan(0.5)
    expect(speech.speaks('so')).toBe(false)
    await expect(say(['hello'], 'xx-none')).rejects.toThrow('espeak-ng could not make speech')
  })

  it('takes signs of mark-up, options and phonemes for words', async () => {
    const plain = await say(['Fish and chips'])
    expect((await say(['Fish & chips'])).seconds).toBeCloseTo(plain.seconds, 0)
    expect((await say(['-q --version [[fish]] <break time="20s"/>'])).seconds).toBeLessThan(15)
    expect((await say(['--help'])).seconds).toBeGreaterThan(0.2)
  })

  it('says a Ukrainian word the same, whichever apostrophe somebody typed', async () => {
    const { seconds } = await say(['п\u2019ятниця'], 'uk')
    // Spelled out sign by sign it would take several times as long.
    expect((await say(['п\u02bcятниця'], 'uk')).seconds).toBeCloseTo(seconds, 3)
    expect((await say(["п'ятниця"], 'uk')).seconds).toBeCloseTo(seconds, 3)
  })

  it('says so when its program is missing', async () => {
    const [path] = [process.env.PATH]
    process.env.PATH = folder
    try {
      expect(await speech.ready()).toBe(false)
      await expect(say(['hello'])).rejects.toThrow('espeak-ng')
    } finally {
      process.env.PATH = path
    }
    expect(await speech.ready()).toBe(true)
  })
})
