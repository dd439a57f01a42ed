import { Counter, Gauge, Histogram, Registry, collectDefaultMetrics } from 'prom-client'
import { isAboutHer } from '../../domain/messages/voice/retry-call.ts'
import type { Gateway } from '../../flows/ports/gateway.ts'
import type { DatabaseClock } from '../clock/database-clock.ts'
import type { Clock, Store } from '../../flows/ports/deps.ts'
import { feedMetrics, type FeedMetrics } from './feed-metrics.ts'

/** What this process measures, in the Prometheus format. Labels are our own words: no ids, nothing about anybody. */
export interface Metrics {
  readonly contentType: string
  text(): Promise<string>
  /** Counts what happened. */
  notice(what: string): void
  /** Seconds from the time a message was due until its alarm was heard. */
  late(seconds: number): void
  swept(seconds: number, succeeded: boolean): void
  /** @param facts with `away` where the database did not take it: other alerts tell of that */
  answered(facts: { method: string; route: string; status: number | 'away' }, seconds: number): void
  /** The same gateway, with its sends timed. */
  timed(gateway: Gateway): Gateway
  /** Of schedules that are kept elsewhere. */
  readonly feeds: FeedMetrics
}

const SECONDS = [0.005, 0.02, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 15, 60]
const LATENESS = [0.1, 0.5, 1, 5, 15, 60, 300, 900, 3600]

/**
 * @param ofProcess with memory, event loop and the like of this process.
 * @param timing the database's clock, where that is another machine's.
 */
export function createMetrics(
  store: Store,
  clock: Clock,
  ofProcess = true,
  timing: Pick<DatabaseClock, 'offset'> | null = null,
): Metrics {
  const registry = new Registry()
  const registers = [registry]
  if (ofProcess) collectDefaultMetrics({ register: registry })
  // Gauges with the name of a counter: Prometheus' own checks refuse them.
  for (const what of ['handles', 'requests', 'resources']) registry.removeSingleMetric(`nodejs_active_${what}_total`)
  const events = new Counter({
    name: 'daysix_events_total',
    help: 'What happened, by kind.',
    labelNames: ['what'],
    registers,
  })
  const seconds = (name: string, help: string, labelNames: string[], buckets = SECONDS) =>
    new Histogram({ name, help, labelNames, buckets, registers })
  const sends = seconds('daysix_send_seconds', 'Time a gateway took to answer.', ['gateway', 'outcome'])
  const lateness = seconds('daysix_lateness_seconds', 'From due to rung.', [], LATENESS)
  const sweeps = seconds('daysix_sweep_seconds', 'Time a sweep took.', ['outcome'])
  const requests = seconds('daysix_http_request_seconds', 'Time to answer a request.', ['method', 'route', 'status'])
  const swept = new Gauge({
    name: 'daysix_last_sweep_timestamp_seconds',
    help: 'When a sweep last ended well.',
    registers,
  })
  gaugesOf(store, clock, registers)
  clockGauge(timing, registers)
  const gateways = gatewayGauge(registers)
  return {
    contentType: registry.contentType,
    feeds: feedMetrics(registers),
    text: () => registry.metrics(),
    notice: (what) => events.inc({ what }),
    late: (seconds) => lateness.observe(Math.max(0, seconds)),
    swept: (seconds, succeeded) => {
      sweeps.observe({ outcome: succeeded ? 'done' : 'failed' }, seconds)
      if (succeeded) swept.setToCurrentTime()
    },
    answered: ({ method, route, status }, seconds) =>
      requests.observe(
        { method, route, status: status === 'away' ? status : `${Math.floor(status / 100)}xx` },
        seconds,
      ),
    timed: (gateway) => {
      gateways.add(gateway)
      return timed(gateway, sends)
    },
  }
}

/** What the database says, asked when somebody looks. Every process tells the same: take the maximum, not the sum. */
function gaugesOf(store: Store, clock: Clock, registers: Registry[]): void {
  const gauge = (name: string, help: string, labelNames: string[] = []) =>
    new Gauge({ name, help, labelNames, registers })
  const overdue = gauge('daysix_overdue_messages', 'Messages whose time has passed and that were not sent.')
  const oldest = gauge('daysix_oldest_overdue_seconds', 'How long the oldest of them has waited.')
  const claimed = gauge('daysix_claimed_messages', 'Messages being handed over right now.')
  const workers = gauge('daysix_workers', 'Workers that have been heard lately.')
  const followUps = gauge('daysix_open_follow_ups', 'Calls that a person must make, by urgency (1 = today).', [
    'urgency',
  ])
  const reachable = new Gauge({
    name: 'daysix_database_up',
    help: 'Whether the database answered.',
    registers,
    async collect() {
      try {
        const found = await store.read.dispatch.figures(clock.now())
        overdue.set(found.overdue)
        oldest.set(found.oldestSeconds)
        claimed.set(found.claimed)
        workers.set(found.workers)
        followUps.reset()
        for (const [urgency, count] of found.followUps) followUps.set({ urgency }, count)
        reachable.set(1)
      } catch {
        reachable.set(0)
      }
    },
  })
}

function clockGauge(timing: Pick<DatabaseClock, 'offset'> | null, registers: Registry[]): void {
  new Gauge({
    name: 'daysix_clock_offset_seconds',
    help: 'By how much the clock of this machine is ahead of that of the database.',
    registers,
    collect() {
      // A database that is part of this process has its clock.
      const offset = timing ? timing.offset() : 0
      if (offset !== null) this.set(offset / 1000)
    },
  })
}

/** Asked when somebody looks. */
function gatewayGauge(registers: Registry[]): Set<Gateway> {
  const gateways = new Set<Gateway>()
  new Gauge({
    name: 'daysix_gateway_up',
    help: 'Whether messages go through a gateway, as far as this process knows.',
    labelNames: ['gateway'],
    registers,
    collect() {
      for (const gateway of gateways) {
        this.set({ gateway: gateway.name }, gateway.health?.().ok === false ? 0 : 1)
      }
    },
  })
  return gateways
}

/** The gateway may be of any class and answer more calls than we know of: only `send` is touched. */
function timed(gateway: Gateway, sends: Histogram): Gateway {
  const send: Gateway['send'] = async (message, turn) => {
    const stop = sends.startTimer({ gateway: gateway.name })
    const outcome = await gateway.send(message, turn)
    // That the patient is out says nothing about the network.
    stop({ outcome: isAboutHer(message, outcome) ? 'not-reached' : outcome.kind })
    return outcome
  }
  return new Proxy(gateway, {
    get: (target, key) => {
      if (key === 'send') return send
      const value: unknown = Reflect.get(target, key, target)
      return typeof value === 'function' ? (value.bind(target) as unknown) : value
    },
  })
}
