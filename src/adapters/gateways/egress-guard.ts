import { lookup as resolve, type LookupAddress } from 'node:dns'
import { BlockList, isIP, type LookupFunction } from 'node:net'

/**
 * Addresses a gateway never has: "this host" and link-local ones, where cloud machines answer with their credentials,
 * the metadata addresses outside that range, and what is no single host at all. Private networks and the loopback stay
 * allowed: message centres do live there.
 */
const REFUSED = new BlockList()
REFUSED.addSubnet('0.0.0.0', 8, 'ipv4') // RFC 1122 3.2.1.3
REFUSED.addSubnet('169.254.0.0', 16, 'ipv4') // link-local, RFC 3927; metadata of most clouds
REFUSED.addSubnet('224.0.0.0', 3, 'ipv4') // multicast, reserved, broadcast
REFUSED.addAddress('100.100.100.200', 'ipv4') // metadata of one cloud
REFUSED.addAddress('192.0.0.192', 'ipv4') // metadata of one cloud
REFUSED.addAddress('168.63.129.16', 'ipv4') // a cloud's own virtual host
REFUSED.addAddress('::', 'ipv6')
REFUSED.addSubnet('fe80::', 10, 'ipv6') // link-local, RFC 4291
REFUSED.addSubnet('ff00::', 8, 'ipv6')
REFUSED.addAddress('fd00:ec2::254', 'ipv6') // metadata of one cloud
// IPv4 inside IPv6: mapped addresses (RFC 4291) are judged by Node as the IPv4 they stand for; the translated and
// tunnelled notations (RFC 6052, RFC 3056) are refused as a whole, since no gateway needs them.
REFUSED.addSubnet('64:ff9b::', 96, 'ipv6')
REFUSED.addSubnet('2002::', 16, 'ipv6')

/** This machine and the networks around it, where what answers is nobody's schedule unless a site says so. */
const OWN = new BlockList()
OWN.addSubnet('127.0.0.0', 8, 'ipv4')
OWN.addSubnet('10.0.0.0', 8, 'ipv4') // private, RFC 1918
OWN.addSubnet('172.16.0.0', 12, 'ipv4')
OWN.addSubnet('192.168.0.0', 16, 'ipv4')
OWN.addSubnet('100.64.0.0', 10, 'ipv4') // shared, RFC 6598
OWN.addSubnet('198.18.0.0', 15, 'ipv4') // benchmarks, RFC 2544
OWN.addAddress('::1', 'ipv6')
OWN.addSubnet('fc00::', 7, 'ipv6') // private, RFC 4193

/** Why a connection was refused; the gateway reports it as not sent. */
export class EgressRefused extends Error {
  readonly code = 'EGRESS_REFUSED'

  constructor() {
    super('This address is never a gateway: link-local, metadata or reserved.')
    this.name = 'EgressRefused'
  }
}

/** @param address an IPv4 or IPv6 address, as resolved */
export function isRefusedAddress(address: string): boolean {
  const family = isIP(address)
  if (family === 0) return true
  return REFUSED.check(address, family === 4 ? 'ipv4' : 'ipv6')
}

/** An address of this machine or of the networks around it, or one that is never a peer. */
export function isOwnAddress(address: string): boolean {
  return isRefusedAddress(address) || OWN.check(address, isIP(address) === 4 ? 'ipv4' : 'ipv6')
}

/**
 * Resolves a name for a connection, and refuses it when any of its addresses is one that no gateway has. It stands
 * where the connection is made, so a name that changes its address between check and use gains nothing.
 * @param allowed addresses that a site has allowed by name.
 * @param refuses which addresses are refused
 */
export function guardedLookup(
  allowed: ReadonlySet<string> = new Set(),
  refuses: (address: string) => boolean = isRefusedAddress,
): LookupFunction {
  return (hostname, options, callback) => {
    resolve(hostname, { ...options, all: true }, (error, addresses) => {
      if (error) return callback(error, '')
      if (addresses.some(({ address }) => !allowed.has(address) && refuses(address)))
        return callback(new EgressRefused(), '')
      answer(addresses, options.all === true, callback)
    })
  }
}

function answer(addresses: LookupAddress[], all: boolean, callback: Parameters<LookupFunction>[2]): void {
  if (all) return callback(null, addresses)
  const [first] = addresses
  callback(null, first!.address, first!.family)
}

/**
 * A host written as an address is never looked up, so it is judged by itself, before connecting.
 * @param hostname of a URL: IPv6 in brackets
 */
export function isRefusedLiteral(
  hostname: string,
  allowed: ReadonlySet<string> = new Set(),
  refuses: (address: string) => boolean = isRefusedAddress,
): boolean {
  const address = hostname.replace(/^\[|\]$/g, '')
  return isIP(address) !== 0 && !allowed.has(address) && refuses(address)
}
