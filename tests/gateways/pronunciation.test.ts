import { spawnSync } from 'node:child_process'
import { describe, expect, it } from 'vitest'
import { documentOf, ESPEAK_VOICES } from '../../src/adapters/gateways/speech/espeak.ts'
import { respeller } from '../../src/adapters/gateways/speech/respell.ts'
import { loadSpoken } from '../../src/adapters/templates/load-spoken.ts'
import { PRONUNCIATIONS } from './pronunciations.ts'
import { present } from './peers/programs.ts'

const spoken = loadSpoken()

/** What espeak-ng would say, by its own account. */
function phonemes(words: string, language: string, respell = respeller(spoken.get(language))): string {
  const options = ['-v', ESPEAK_VOICES[language]!, '-q', '--ipa', '-m', '--stdin']
  const said = spawnSync('espeak-ng', options, { input: documentOf(words, language, respell) }).stdout.toString()
  return said.replaceAll('ˌ', '').trim().replace(/\s+/g, ' ')
}

const items = (language: string) =>
  PRONUNCIATIONS[language]!.split(';').flatMap((item) => {
    const [words, said] = item.split('=').map((part) => part.trim())
    return words && said ? [[words, said] as const] : []
  })

describe.skipIf(!present('espeak-ng', ['--version']))('what espeak-ng says', () => {
  it.each(Object.keys(ESPEAK_VOICES))('is as the table has it, for fifty words of calls: %s', (language) => {
    const expected = items(language)
    expect(expected.length).toBeGreaterThanOrEqual(50)
    for (const [words, said] of expected) expect.soft(`${words} ${phonemes(words, language)}`).toBe(`${words} ${said}`)
  })

  it('would be wrong without the spelling that mends it', () => {
    for (const [language, words] of spoken)
      for (const word of Object.keys(words))
        expect
          .soft(
            phonemes(word, language, (document) => document),
            word,
          )
          .not.toBe(phonemes(word, language))
  })
})

describe('words that are said otherwise than written', () => {
  const respell = respeller({ ab: '[[x]]', 'п’ять': "[[pj'at;]]", '1': 'one' })

  it('are whole words, in whichever case', () => {
    expect(respell('<p>ab, Ab abc cab 1 11 10:1</p>')).toBe('<p>[[x]] , [[x]]  abc cab one  11 10:one </p>')
  })

  it('are never those of the mark-up', () => {
    expect(respell('<ab ab="ab">ab</ab>')).toBe('<ab ab="ab">[[x]] </ab>')
  })

  it('are known with every apostrophe that somebody may type', () => {
    for (const word of ['п’ять', 'пʼять', "п'ять"]) expect(documentOf(word, 'uk', respell)).toContain("[[pj'at;]]")
  })
})
