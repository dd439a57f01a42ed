import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { urgentWords } from '../../../src/adapters/http/private-page/patient-page.ts'
import { loadPageTexts } from '../../../src/adapters/templates/load-page.ts'
import { loadTexts } from '../../../src/adapters/templates/load-texts.ts'
import { EXAMPLE_SITE } from '../../../src/cli/example-site.ts'
import { renderText } from '../../../src/domain/messages/texts/render.ts'
import { serveApi } from '../../harness/api.ts'
import { CLINIC, TestWorld } from '../../harness/world.ts'

const library = loadTexts()
const pages = loadPageTexts()

/** What is said where a clinic has set no number. */
const WITHOUT: Record<string, RegExp> = {
  en: /your local emergency number/,
  fr: /le numéro d'urgence (local|de votre région)/,
  es: /(servicio|número) de emergencias de su zona/,
  uk: /до місцевої служби екстреної допомоги/,
  pa: /ਸਥਾਨਕ ਐਮਰਜੈਂਸੀ ਨੰਬਰ/,
}

function alarm(language: string, channel: 'sms' | 'voice', emergency?: string | null): string {
  const values = { ...EXAMPLE_SITE, zone: 'UTC', ...(emergency !== undefined && { emergency }) }
  return renderText(library, { kind: 'alarm', language, channel, detail: 'full', values }).text
}

function onThePage(language: string, emergency: string | null): string {
  return urgentWords(pages.get(language)!.words, library.languages.get(language)!, emergency).text
}

// Who has come from Ukraine (103, 112) or India (108, 112) does not know the number of the place: it is said where the
// clinic has set it (numbers from memory).
describe.each(Object.entries(WITHOUT))('in %s', (language, without) => {
  test('an alarm and the page say the number that the clinic has set', () => {
    for (const words of [alarm(language, 'sms', '112'), onThePage(language, '112')]) {
      expect(words).toContain('112')
      expect(words).not.toMatch(without)
      expect(words).not.toMatch(/[{}]|none/)
    }
  })

  test('speech says it digit by digit: “nine one one”, not “nine hundred eleven”', () => {
    expect(alarm(language, 'voice', '911')).toContain('9 1 1')
    expect(alarm(language, 'voice', '911')).not.toContain('911')
  })

  test('without a number they say words for it', () => {
    for (const none of [undefined, null]) {
      expect(alarm(language, 'sms', none)).toMatch(without)
      expect(alarm(language, 'voice', none)).toMatch(without)
    }
    expect(onThePage(language, null)).toMatch(without)
  })
})

describe('a clinic’s own number', () => {
  let world: TestWorld
  let api: Awaited<ReturnType<typeof serveApi>>
  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    api = await serveApi(world)
  })
  afterAll(async () => {
    await api.close()
    await world.close()
  })

  const put = (settings: object) => {
    const { name, phone, zone, country } = CLINIC
    return api.put('/api/v1/clinics/harbour', { name, phone, zone, country, settings })
  }

  test('is set through the API, and null until then', async () => {
    expect((await put({})).body.clinic.settings.emergency).toBeNull()
    expect((await put({ emergency: '911' })).body.clinic.settings.emergency).toBe('911')
    expect((await put({ emergency: null })).body.clinic.settings.emergency).toBeNull()
  })

  test.each([911, '9', '1234567', '9-1-1', '+1911', ''])(
    'is refused as %j, and told how to write it',
    async (emergency) => {
      const { status, body } = await put({ emergency })
      expect(status).toBe(422)
      expect(body).toMatchObject({
        code: 'bad-input',
        field: 'settings.emergency',
        detail: expect.stringMatching(/two to six digits.*"911".*null/),
      })
    },
  )

  test('goes out in the answer to alarming words', async () => {
    await put({ emergency: '911' })
    await world.book({ visit: '2026-03-25T09:10', phone: '782 555 0177' })
    await world.reply('+17825550177', 'I am bleeding heavily and I fainted')
    expect(world.textsTo('+17825550177').at(-1)).toContain('call 911 now.')
  })
})
