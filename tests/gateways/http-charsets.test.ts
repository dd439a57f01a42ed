import { afterEach, describe, expect, it } from 'vitest'
import { createHttpGateway } from '../../src/adapters/gateways/http/http-gateway.ts'
import { parseXml } from '../../src/adapters/gateways/http/xml.ts'
import type { CallbackGateway } from '../../src/flows/ports/gateway.ts'
import { recordingEars } from './recording-ears.ts'
import { Webhook } from './webhook.ts'

// Every character as sent, over a real connection. Octets of ISO-8859-1 as in ISO/IEC 8859-1, of UTF-8 as in RFC 3629,
// of UTF-16 as in RFC 2781; references and CDATA as in XML 1.0 4.1 and 2.7. The words are invented.
const WORDS = 'S\u00ed ma\u00f1ana \u00e0' // Sí mañana à
const LATIN = '%53%ED+ma%F1ana+%E0'
let webhook: Webhook | undefined
afterEach(async () => {
  await webhook?.close()
  webhook = undefined
})

/** What is heard of one reply that a peer posts, and what the peer is answered. */
async function heard(
  replies: object,
  { query = '', body = '', type = '' }: { query?: string; body?: string | Buffer; type?: string },
) {
  const ears = recordingEars()
  const gateway: CallbackGateway = createHttpGateway(
    {
      kind: 'http',
      name: 'texter',
      request: { method: 'GET', url: 'https://texts.example/send' },
      replies: {
        auth: { kind: 'query', secret: 'env:HOOK_KEY' },
        from: 'query:from',
        key: 'query:id',
        ...replies,
      },
    },
    { clock: { now: () => new Date('2026-03-17T12:00:00Z') }, secret: () => 'barley' },
  )
  await gateway.start(ears)
  webhook = await Webhook.for(() => gateway)
  const address = `${webhook.url}/gateways/texter/reply?key=barley&from=16135550142&id=r1&${query}`
  const headers = type === '' ? {} : { 'content-type': type }
  const posted = await fetch(address, { method: 'POST', headers, body: new Uint8Array(Buffer.from(body)) })
  return { status: posted.status, ...ears.heards[0] }
}

const FORM = 'application/x-www-form-urlencoded'

describe('a reply in another charset than UTF-8', () => {
  it.each([
    ['a form, by the description', { text: 'form:msg', encoding: 'latin1' }, { body: `msg=${LATIN}`, type: FORM }],
    ['a form, by its header', { text: 'form:msg' }, { body: `msg=${LATIN}`, type: `${FORM}; charset=ISO-8859-1` }],
    ['the address', { text: 'query:msg', encoding: 'latin1' }, { query: `msg=${LATIN}` }],
    [
      'JSON, by its header',
      { text: 'json:msg' },
      { body: Buffer.from(`{"msg":"${WORDS}"}`, 'latin1'), type: 'application/json; charset=iso-8859-1' },
    ],
    [
      'JSON, by the description',
      { text: 'json:msg', encoding: 'latin1' },
      { body: Buffer.from(`{"msg":"${WORDS}"}`, 'latin1'), type: 'application/json' },
    ],
    [
      'what an expression finds',
      { text: 'body:text=(.*)', encoding: 'latin1' },
      { body: Buffer.from(`text=${WORDS}`, 'latin1'), type: 'text/plain' },
    ],
    [
      'XML, by its own first line',
      { text: 'xml:reply/text' },
      {
        body: Buffer.from(`<?xml version="1.0" encoding="ISO-8859-1"?><reply><text>${WORDS}</text></reply>`, 'latin1'),
        type: 'application/xml',
      },
    ],
    [
      'XML, by its header before its first line (RFC 7303)',
      { text: 'xml:reply/text' },
      {
        body: `<?xml version="1.0" encoding="ISO-8859-1"?><reply><text>${WORDS}</text></reply>`,
        type: 'text/xml; charset=utf-8',
      },
    ],
    [
      'the whole body, with a mark for its order',
      { text: 'body' },
      { body: Buffer.from(`\ufeff${WORDS}`, 'utf16le'), type: 'text/plain; charset=UTF-16' },
    ],
    [
      'the address, in two octets a sign',
      { text: 'query:msg', encoding: 'utf-16be' },
      {
        query: `msg=${[...Buffer.from(WORDS, 'utf16le').swap16()].map((octet) => `%${octet.toString(16).padStart(2, '0')}`).join('')}`,
      },
    ],
  ])('is heard letter for letter: %s', async (_, replies, sent) => {
    expect(await heard(replies, sent)).toMatchObject({ status: 200, text: WORDS })
    expect((await heard(replies, sent)).octets).toBeUndefined()
  })
})

describe('a reply in XML', () => {
  const read = (body: string, text = 'xml:reply/text') => heard({ text }, { body, type: 'application/xml' })

  it.each([
    ['references', '<reply><text>I&apos;m &lt;late&gt; &#233;&#xE9;</text></reply>', "I'm <late> éé"],
    ['CDATA', '<reply><text><![CDATA[j\'ai <3 & "1"]]></text></reply>', 'j\'ai <3 & "1"'],
    ['prefixes', '<s:reply xmlns:s="urn:x"><t:text xmlns:t="urn:y">oui</t:text></s:reply>', 'oui'],
    ['a default namespace', '<reply xmlns="urn:x"><text>oui</text></reply>', 'oui'],
  ])('is heard with its %s', async (_, body, expected) => {
    expect(await read(body)).toMatchObject({ status: 200, text: expected })
  })

  it('is found in an attribute, and in one of several elements', async () => {
    expect(await read('<a><b c="1"/><b c="oui &amp; non"/></a>', 'xml:a/b[1]/@c')).toMatchObject({ text: 'oui & non' })
  })

  it('comes in lists', async () => {
    const body = '<all><one><say>un</say></one><one><say>deux</say></one></all>'
    expect(await heard({ each: 'xml:all/one', text: 'xml:say' }, { body })).toMatchObject({ text: 'un' })
  })

  it.each([
    ['an entity of a file', '<!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]><reply><text>&x;</text></reply>'],
    ['entities of entities', '<!DOCTYPE r [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]><reply><text>&b;</text></reply>'],
    ['a broken document', '<reply><text>oui</reply>'],
    ['an unknown prefix', '<x:reply><text>oui</text></x:reply>'],
  ])('is refused with %s', async (_, body) => {
    expect(await read(body)).toMatchObject({ status: 400 })
    expect(parseXml(body)).toBeUndefined()
  })
})

describe('a reply that cannot be read', () => {
  it('by its hex that is none, is kept as octets', async () => {
    const sent = await heard({ text: 'query:msg', encoding: 'utf-16be-hex' }, { query: 'msg=zzzz-not-hex' })
    expect(sent).toMatchObject({ status: 200, text: '', octets: Buffer.from('zzzz-not-hex').toString('hex') })
  })

  it('by its octets, is kept with what can be made out', async () => {
    expect(await heard({ text: 'form:msg' }, { body: `msg=${LATIN}`, type: FORM })).toMatchObject({
      text: 'S\ufffd ma\ufffdana \ufffd',
      octets: '53ed206d61f1616e6120e0',
    })
  })

  it('by a charset that nobody knows, is kept', async () => {
    const sent = await heard({ text: 'body' }, { body: 'oui', type: 'text/plain; charset=x-nobody' })
    expect(sent).toMatchObject({ octets: Buffer.from('oui').toString('hex') })
  })

  it('by control characters, is kept; zeros at the end are padding', async () => {
    expect(await heard({ text: 'query:msg' }, { query: 'msg=%00%01y%02' })).toMatchObject({ octets: '00017902' })
    expect((await heard({ text: 'query:msg' }, { query: 'msg=oui%00%00' })).text).toBe('oui')
  })
})
