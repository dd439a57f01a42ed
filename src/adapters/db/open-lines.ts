import { BlockList, isIP } from 'node:net'

/** This machine and private networks (RFC 1918, RFC 4193, RFC 6598, link-local). */
const NEAR = new BlockList()
for (const [net, prefix] of [
  ['127.0.0.0', 8],
  ['10.0.0.0', 8],
  ['172.16.0.0', 12],
  ['192.168.0.0', 16],
  ['100.64.0.0', 10],
  ['169.254.0.0', 16],
] as const)
  NEAR.addSubnet(net, prefix, 'ipv4')
NEAR.addAddress('::1', 'ipv6')
NEAR.addSubnet('fc00::', 7, 'ipv6')
NEAR.addSubnet('fe80::', 10, 'ipv6')

/** A name without a dot is one of this machine's own network, as between containers. */
function isNear(host: string): boolean {
  const bare = host.replace(/^\[|\]$/g, '')
  const kind = isIP(bare)
  return kind === 0 ? !bare.includes('.') : NEAR.check(bare, kind === 6 ? 'ipv6' : 'ipv4')
}

/** Addresses of the stores; undefined = none of its own. */
interface Stores {
  databaseUrl: string | undefined
  redisUrl: string | undefined
  /** Where it is told what was done. */
  traces?: { url: string } | undefined
}

/** The settings whose data go over a line that others may read: not encrypted, to a place far away. */
export function openLines({ databaseUrl, redisUrl, traces }: Stores): string[] {
  return [
    ...(databaseUrl !== undefined && isOpenDatabase(databaseUrl) ? ['DATABASE_URL'] : []),
    ...(redisUrl !== undefined && isOpenRedis(redisUrl) ? ['REDIS_URL'] : []),
    ...(traces && isOpenWeb(traces.url) ? ['TRACES_URL'] : []),
  ]
}

function isOpenWeb(address: string): boolean {
  const { protocol, hostname } = new URL(address)
  return protocol === 'http:' && !isNear(hostname)
}

function isOpenDatabase(address: string): boolean {
  const { hostname, searchParams } = new URL(address)
  const asked = [searchParams.get('sslmode'), searchParams.get('ssl')]
  return !isNear(hostname) && !asked.some((each) => /^(require|verify-ca|verify-full|true|1)$/.test(each ?? ''))
}

/** One server, or several with commas between them. */
function isOpenRedis(address: string): boolean {
  const [scheme, rest] = address.split('://') as [string, string]
  const hosts = rest
    .replace(/^[^@]*@/, '')
    .replace(/[/?].*$/, '')
    .split(',')
  return scheme !== 'rediss' && !hosts.every((host) => isNear(host.replace(/:\d+$/, '')))
}
