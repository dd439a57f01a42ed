import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { readFeed } from '../../src/adapters/schedule/feed-file.ts'
import { Failure } from '../../src/domain/failure.ts'

const KNOWN = {
  protocols: new Set(['liquid-based-cytology', 'clinician-hpv']),
  languages: new Set(['en', 'es', 'fr', 'pa', 'uk']),
}
const LEAST = `name: least\nzone: America/Halifax\nclinics: { A: harbour }\ntypes: { PAP: { protocol: clinician-hpv } }\n`

function faultsOf(text: string): string[] {
  try {
    readFeed(text, 'their.yaml', KNOWN)
    return []
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    return error.detail.message.split('\n')
  }
}

describe('the description of a feed', () => {
  it('of the demo can be used', () => {
    const feed = readFeed(readFileSync('demo/schedule/skerry.yaml', 'utf8'), 'skerry.yaml', KNOWN)
    expect(feed).toMatchObject({ name: 'skerry', key: 'filler', consent: null, settleMinutes: 3, production: true })
  })

  it('needs its name, zone, clinics and kinds of visit, and sends nothing without consent', () => {
    expect(readFeed(LEAST, 'their.yaml', KNOWN).consent).toBeNull()
    expect(faultsOf('settleMinutes: 5').map((fault) => fault.split(':')[0])).toEqual([
      ...['their.yaml, name', 'their.yaml, zone', 'their.yaml, clinics', 'their.yaml, types'],
    ])
  })

  it('is refused with all of its faults, each with where it stands and how to mend it', () => {
    const wrong = LEAST.replace('least', 'Least Of All')
      .replace('America/Halifax', 'Mars/North')
      .replace('clinician-hpv', 'smear')
    expect(faultsOf(`${wrong}charset: latin-99\nlanguages: { DEU: de }\ncolour: red\n`)).toEqual([
      'their.yaml, name: Give a short name: small letters, digits, hyphens.',
      'their.yaml, zone: This is not a known time zone. Use an IANA name such as America/Halifax.',
      'their.yaml, charset: Give a charset by its label, e.g. windows-1252 or iso-8859-1.',
      'their.yaml, types.PAP.protocol: There is no protocol "smear". Known: clinician-hpv, liquid-based-cytology.',
      'their.yaml, languages.DEU: There is no language with texts "de". Known: en, es, fr, pa, uk.',
      'their.yaml, There is no setting colour here. Mend its name, or take it away.',
    ])
  })

  it('that is no YAML is refused with line and column', () =>
    expect(faultsOf('name: [least\nzone: x')[0]).toMatch(/^their\.yaml, line \d+, column \d+: this is not valid YAML/))
})
