import { Counter, Gauge, Histogram, type Registry } from 'prom-client'
import type { CheckLine } from '../../domain/schedule/check-line.ts'

/** What a message over MLLP came to besides: no feed takes it, nobody can read it, it is an acknowledgement itself. */
type NotTaken = 'no-feed' | 'unreadable' | 'acknowledgement' | 'later'

/** What is measured of schedules that are kept elsewhere. */
export interface FeedMetrics {
  /** @param feed as the site calls it; empty where none takes it */
  message(feed: string, does: CheckLine['does'] | NotTaken): void
  /** Acknowledgements that were sent, by code. */
  acknowledged(code: string): void
  connections(open: number): void
  /** Seconds from the end of a frame until what it says is kept. */
  kept(seconds: number): void
}

const SECONDS = [0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 15, 60]

export function feedMetrics(registers: Registry[]): FeedMetrics {
  const messages = new Counter({
    name: 'daysix_feed_messages_total',
    help: 'Messages of schedules kept elsewhere, by what was done.',
    labelNames: ['feed', 'does'],
    registers,
  })
  const acks = new Counter({
    name: 'daysix_mllp_acknowledgements_total',
    help: 'Acknowledgements sent over MLLP, by code.',
    labelNames: ['code'],
    registers,
  })
  const connections = new Gauge({ name: 'daysix_mllp_connections', help: 'Open connections over MLLP.', registers })
  const seconds = new Histogram({
    name: 'daysix_mllp_kept_seconds',
    help: 'From the end of a frame until what it says is kept.',
    buckets: SECONDS,
    registers,
  })
  return {
    message: (feed, does) => messages.inc({ feed, does }),
    acknowledged: (code) => acks.inc({ code }),
    connections: (open) => connections.set(open),
    kept: (took) => seconds.observe(took),
  }
}
