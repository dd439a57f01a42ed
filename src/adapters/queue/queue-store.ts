import { createPostgresBackend, createRedisBackend, type BackendFactory } from 'bullmq'
import { Cluster, Redis } from 'ioredis'
import type { Database } from '../db/pool.ts'

/** Where BullMQ keeps its jobs, with how to let go of it. */
export interface QueueStore {
  factory: BackendFactory
  connection: object
  prefix: string
  /** Whether it answers now, and takes jobs. */
  ping(): Promise<unknown>
  /** False when it is known to be away, so that nobody needs to wait for a call to fail. */
  reachable(): boolean
  close(): Promise<void>
}

/** The same database as the records: embedded, or a PostgreSQL server. */
export function databaseQueueStore(database: Database): QueueStore {
  return {
    factory: createPostgresBackend as unknown as BackendFactory,
    connection: database.queue,
    prefix: 'daysix',
    ping: () => database.queue.query('select 1'),
    reachable: () => true,
    close: async () => {},
  }
}

/**
 * Redis, for large regions: one server, or a cluster where the address lists several nodes
 * (`redis://node1:6379,node2:6379`) or says `?cluster`. The hash tag in the prefix keeps all keys of the queue in one
 * slot of a cluster, as BullMQ's scripts need.
 * @param refused told once when it does not take our user or password
 */
export function redisQueueStore(url: string, refused: () => void = () => {}): QueueStore {
  const connection = isCluster(url) ? openCluster(url) : new Redis(url, PATIENT)
  // Reconnects by itself; what a failed call means is told to the caller. A wrong password no waiting mends.
  let isTold = false
  connection.on('ready', () => (isTold = false))
  connection.on('error', (error) => {
    if (isTold || !REFUSED.test(error.message)) return
    isTold = true
    refused()
  })
  const away = new Set(['reconnecting', 'close', 'end'])
  return {
    factory: createRedisBackend as unknown as BackendFactory,
    connection,
    prefix: PREFIX,
    // By writing: one that is full, or only reads, answers and yet takes no job.
    ping: () => connection.set(ASKED, '1'),
    reachable: () => !away.has(connection.status),
    close: async () => connection.disconnect(),
  }
}

const PREFIX = '{daysix}'
const ASKED = `${PREFIX}:asked`

/** How Redis says so of a login; older ones than 6 without a word of their own. */
const REFUSED = /^(WRONGPASS|NOAUTH|NOPERM)|invalid password|without any password configured/

/** As BullMQ needs it: its worker's blocking call waits out a restart instead of failing. */
const PATIENT = { maxRetriesPerRequest: null, retryStrategy: (times: number) => Math.min(times * 100, 2_000) }

export function isCluster(url: string): boolean {
  const { nodes, options } = partsOf(url)
  return nodes.length > 1 || options.has('cluster')
}

function openCluster(url: string): Cluster {
  const { scheme, login, nodes } = partsOf(url)
  const [username, password] = login.split(':').map(decodeURIComponent)
  const secrets = {
    ...(username && { username }),
    ...(password && { password }),
    ...(scheme === 'rediss' && { tls: {} }),
  }
  return new Cluster(
    nodes.map((node) => {
      const { hostname, port } = new URL(`redis://${node}`)
      return { host: hostname, port: Number(port || 6379) }
    }),
    {
      redisOptions: { ...secrets, maxRetriesPerRequest: null },
      clusterRetryStrategy: (times) => Math.min(times * 100, 2_000),
    },
  )
}

/**
 * `redis[s]://[user:password@]node[:port][,node[:port]…][/…][?cluster]`: the listed form is more than the URL class
 * reads.
 */
function partsOf(url: string): { scheme: string; login: string; nodes: string[]; options: URLSearchParams } {
  const found = /^(rediss?):\/\/(?:([^@/]*)@)?([^/?]*)[^?]*\??(.*)$/.exec(url)
  const [, scheme = 'redis', login = '', nodes = '', options = ''] = found ?? []
  return { scheme, login, nodes: nodes.split(',').filter(Boolean), options: new URLSearchParams(options) }
}
