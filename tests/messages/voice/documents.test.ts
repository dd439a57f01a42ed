import { execFileSync } from 'node:child_process'
import { describe, expect, it } from 'vitest'
import { TEXT_KINDS } from '../../../src/domain/messages/texts/kinds.ts'
import type { CallScript } from '../../../src/domain/messages/voice/call-script.ts'
import { ssml } from '../../../src/domain/messages/voice/ssml.ts'
import { answerXml, heardXml, overXml, voicemailXml, voiceXml } from '../../../src/domain/messages/voice/voice-xml.ts'
import { present } from '../../gateways/peers/programs.ts'
import { SSML, VOICE_XML, type Model } from './content-models.ts'
import { call, library, VALUES, writer } from './example-calls.ts'

const ADDRESS = 'https://clinic.example/gateways/voice/call?id=m-1&sign=abc'
const AWKWARD = { ...VALUES, clinic: 'Fish & Chips <b> "Clinic" ]]> \u0007 😀' }

interface Node {
  name: string
  attributes: Record<string, string>
  children: (Node | string)[]
}

/** Reads XML by libxml2: an independent parser says whether it is well formed and what stands where. */
function parse(document: string): Node {
  execFileSync('xmllint', ['--nonet', '--noout', '-'], { input: document })
  const shape = execFileSync('xmllint', ['--nonet', '--c14n', '-'], { input: document, maxBuffer: 1e7 }).toString()
  return build(shape)
}

/** Canonical XML has one way to write everything: start tag, end tag, text. */
function build(canonical: string): Node {
  const root: Node = { name: '#', attributes: {}, children: [] }
  const path = [root]
  for (const [, close, name, attributes, text] of canonical.matchAll(
    /<(\/?)([\w:]+)((?: [\w:]+="[^"]*")*)>|([^<]+)/g,
  )) {
    const parent = path.at(-1)!
    if (text !== undefined) parent.children.push(text)
    else if (close) path.pop()
    else {
      const node = {
        name: name!,
        attributes: Object.fromEntries(
          [...attributes!.matchAll(/ ([\w:]+)="([^"]*)"/g)].map(([, key, value]) => [key!, value!]),
        ),
        children: [],
      }
      parent.children.push(node)
      path.push(node)
    }
  }
  expect(path).toHaveLength(1)
  return root.children[0] as Node
}

function all(node: Node): Node[] {
  return [node, ...node.children.flatMap((child) => (typeof child === 'string' ? [] : all(child)))]
}

function faults(document: string, models: Record<string, Model>): string[] {
  return all(parse(document)).flatMap(({ name, attributes, children }) => {
    const model = models[name]
    if (!model) return [`<${name}> is no element`]
    const wrong = children
      .map((child) => (typeof child === 'string' ? (child.trim() === '' ? '' : 'text') : child.name))
      .filter((child) => child !== '' && !model.inside.includes(child))
    return [
      ...wrong.map((child) => `${child} may not stand in <${name}>`),
      ...Object.keys(attributes)
        .filter((key) => !model.attributes.includes(key))
        .map((key) => `<${name}> has no ${key}`),
      ...(model.must ?? []).filter((key) => !(key in attributes)).map((key) => `<${name}> needs ${key}`),
    ]
  })
}

/** Every address within the document leads to a dialog of it, and no two share a name. */
function danglers(document: string): string[] {
  const nodes = all(parse(document))
  const ids = nodes.flatMap(({ attributes }) => attributes.id ?? [])
  expect(new Set(ids).size).toBe(ids.length)
  const targets = nodes.flatMap(({ attributes }) =>
    attributes.next?.startsWith('#') ? [attributes.next.slice(1)] : [],
  )
  return targets.filter((target) => !ids.includes(target))
}

const wordsOf = (document: string) =>
  all(parse(document)).flatMap(({ name, children }) => (name === 'p' ? [children.join('')] : []))
const decode = (words: string) => words.replace(/&lt;/g, '<').replace(/&gt;/g, '>').replace(/&amp;/g, '&')

const some = ['prep', 'cycle-check', 'offer', 'stopped'] as const
const scripts = (): CallScript[] =>
  [...library.languages.keys()].flatMap((language) => some.map((kind) => call(kind, { language, values: AWKWARD })))

describe.skipIf(!present('xmllint', ['--version']))('the documents of a call', () => {
  it('are VoiceXML that keeps to the content models of the Recommendation', () => {
    for (const script of scripts()) {
      for (const document of [voiceXml, heardXml, voicemailXml].map((write) => write(script, ADDRESS))) {
        expect(faults(document, VOICE_XML)).toEqual([])
        expect(danglers(document)).toEqual([])
      }
    }
  })

  it('say nothing more once a call that is over has told so', () => {
    expect(faults(overXml(call('prep')), VOICE_XML)).toEqual([])
    expect(wordsOf(overXml(call('prep')))).toEqual([])
  })

  it('are refused by that check when an element is misplaced, misspelt or lacks what it needs', () => {
    const good = voiceXml(call('prep'), ADDRESS)
    expect(faults(good.replaceAll('<p>', '<promt>').replaceAll('</p>', '</promt>'), VOICE_XML)).not.toEqual([])
    expect(faults(good.replaceAll('<disconnect/>', '<choice/>'), VOICE_XML)).toContain(
      'choice may not stand in <block>',
    )
    expect(faults(good.replace(' version="2.1"', ''), VOICE_XML)).toContain('<vxml> needs version')
    expect(danglers(good.replace('#started', '#elsewhere'))).toEqual(['elsewhere'])
  })

  it('are VoiceXML 2.1 for keys only, in the language of the words', () => {
    const [root, ...nodes] = all(parse(voiceXml(call('prep', { language: 'fr' }), ADDRESS)))
    expect(root!.attributes).toMatchObject({
      version: '2.1',
      xmlns: 'http://www.w3.org/2001/vxml',
      'xml:lang': library.languages.get('fr')!.locale,
    })
    expect(nodes.find(({ attributes }) => attributes.name === 'inputmodes')!.attributes.value).toBe('dtmf')
    expect(nodes.some(({ name }) => ['record', 'grammar', 'transfer'].includes(name))).toBe(false)
  })

  it('lead from key 2 to the question when, and post each answer to the address given', () => {
    const nodes = all(parse(voiceXml(call('prep'), ADDRESS)))
    const menu = nodes.find(({ attributes }) => attributes.id === 'message')!
    const keyed = all(menu).filter(({ name }) => name === 'choice')
    expect(keyed.map(({ attributes }) => attributes.dtmf)).toEqual(['1', '2', '3', '4', '9'])
    expect(keyed[1]!.attributes.next).toBe('#started')
    const form = all(nodes.find(({ attributes }) => attributes.id === 'started-2')!)
    expect(form.find(({ name }) => name === 'var')!.attributes).toEqual({ name: 'pressed', expr: "'period-started.1'" })
    expect(decode(form.find(({ name }) => name === 'submit')!.attributes.next!)).toBe(ADDRESS)
  })

  it('say every word of the script, whatever signs a clinic has in its name', () => {
    const script = call('confirmation', { values: AWKWARD })
    expect(script.steps.message.say[0]).toContain('Fish & Chips <b> "Clinic" ]]>')
    const expected = [...script.steps.greeting.say, ...script.steps.message.say].map((words) =>
      words.replace('\u0007', ''),
    )
    expect(wordsOf(voiceXml(script, ADDRESS)).map(decode)).toEqual(expect.arrayContaining(expected))
    expect(wordsOf(ssml(expected, 'en')).map(decode)).toEqual(expected)
  })

  it('are SSML 1.1 that keeps to the content models of the Recommendation', () => {
    for (const script of scripts()) {
      const document = ssml([...script.steps.greeting.say, ...script.steps.message.say], script.locale)
      expect(faults(document, SSML)).toEqual([])
      expect(parse(document).attributes).toMatchObject({
        version: '1.1',
        xmlns: 'http://www.w3.org/2001/10/synthesis',
        'xml:lang': script.locale,
      })
    }
  })

  it('leave nothing but the clinic and its number to a machine', () => {
    for (const kind of TEXT_KINDS) {
      const script = call(kind)
      expect(wordsOf(voicemailXml(script, ADDRESS)).map(decode)).toEqual([script.voicemail])
    }
  })

  it('go on with what follows from an answer, and end when nothing does', () => {
    const request = { language: 'en', detail: 'full', values: VALUES } as const
    const offer = answerXml(writer.answer({ ...request, kind: 'offer' }).step, call('prep'), ADDRESS)
    expect(faults(offer, VOICE_XML)).toEqual([])
    expect(danglers(offer)).toEqual([])
    expect(all(parse(offer)).flatMap(({ attributes }) => attributes.dtmf ?? [])).toEqual(['1', '2', '3', '4'])
    const farewell = answerXml(writer.answer({ ...request, kind: 'no-change' }).step, call('prep'), ADDRESS)
    expect(faults(farewell, VOICE_XML)).toEqual([])
    expect(all(parse(farewell)).map(({ name }) => name)).not.toContain('menu')
  })
})
