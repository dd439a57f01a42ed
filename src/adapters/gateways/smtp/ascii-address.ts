import { domainToASCII } from 'node:url'

/** What may stand before the @ without quotes (RFC 5321 §4.1.2, `Dot-string`): nothing that ends an address. */
const LOCAL = /^[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(?:\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*$/
const DOMAIN = /^(?:[a-z0-9](?:[a-z0-9-]*[a-z0-9])?\.)+[a-z0-9-]{2,63}$/
const LONGEST = { local: 64, address: 254 }

/**
 * One address as every server understands it, a domain in other scripts by its ASCII name (RFC 5891); undefined for
 * what is no address, or has other than ASCII before the @: too few servers take that (RFC 6531).
 */
export function asciiAddress(address: string): string | undefined {
  const [, local = '', written = ''] = /^([^@\s\p{Cc}]*)@([^@\s\p{Cc}]*)$/u.exec(address) ?? []
  const domain = domainToASCII(written)
  const ascii = `${local}@${domain}`
  const fits = local.length <= LONGEST.local && ascii.length <= LONGEST.address
  return fits && LOCAL.test(local) && DOMAIN.test(domain) ? ascii : undefined
}

/** @param address as `asciiAddress` gives it */
export const domainOf = (address: string): string => address.slice(address.indexOf('@') + 1)
