import { createServer, request } from 'node:http'
import type { AddressInfo } from 'node:net'
import { describe, expect, it } from 'vitest'
import { guardedLookup, isRefusedAddress, isRefusedLiteral } from '../../src/adapters/gateways/egress-guard.ts'

describe('what a gateway may be', () => {
  it.each([
    ['169.254.169.254', true], // link-local, RFC 3927
    ['169.254.0.1', true],
    ['100.100.100.200', true],
    ['0.0.0.0', true],
    ['224.0.0.1', true],
    ['255.255.255.255', true],
    ['fe80::1', true],
    ['fd00:ec2::254', true],
    ['::', true],
    ['::ffff:169.254.169.254', true],
    ['::ffff:a9fe:a9fe', true],
    ['64:ff9b::a9fe:a9fe', true],
    ['not an address', true],
    ['127.0.0.1', false],
    ['10.20.30.40', false],
    ['192.168.1.9', false],
    ['203.0.113.7', false], // documentation, RFC 5737
    ['2001:db8::7', false], // documentation, RFC 3849
    ['fd12:3456::1', false],
  ])('%s: refused %s', (address, refused) => {
    expect(isRefusedAddress(address)).toBe(refused)
  })

  // WHATWG URL writes all of these out in full, so no other notation gets by.
  it.each([
    'http://169.254.169.254/',
    'http://0xa9fea9fe/',
    'http://2852039166/',
    'http://0251.0376.0251.0376/',
    'http://[::ffff:169.254.169.254]/',
    'http://[fe80::1]/',
    'http://0/',
  ])('%s is refused before connecting', (url) => {
    expect(isRefusedLiteral(new URL(url).hostname)).toBe(true)
  })

  it('lets ordinary hosts through, and refused ones where a site allows them', () => {
    for (const url of ['http://127.0.0.1/', 'http://sms.example/', 'http://[2001:db8::1]/'])
      expect(isRefusedLiteral(new URL(url).hostname)).toBe(false)
    expect(isRefusedLiteral('169.254.10.10', new Set(['169.254.10.10']))).toBe(false)
  })

  const get = (url: string, allowed?: Set<string>) =>
    new Promise<number | string>((done) => {
      const sending = request(url, { lookup: guardedLookup(allowed), timeout: 2_000 }, (answer) =>
        done(answer.resume().statusCode!),
      )
      sending.on('error', (error) => done('code' in error ? String(error.code) : error.name))
      sending.end()
    })

  it('connects to a name through the guard', async () => {
    const server = createServer((_request, response) => response.writeHead(204).end())
    await new Promise<void>((done) => server.listen(0, 'localhost', done))
    const { port } = server.address() as AddressInfo
    expect(await get(`http://localhost:${port}/`)).toBe(204)
    server.close()
  })

  it('a name without an address is an error like any other', async () => {
    expect(await get('http://no-such-host.invalid/')).toMatch(/ENOTFOUND|EAI_AGAIN/)
  })
})
