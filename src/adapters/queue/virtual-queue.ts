import type { Alarm, AlarmQueue } from '../../flows/ports/deps.ts'
import type { VirtualClock } from '../clock/clocks.ts'
import { alarmKey } from './job-key.ts'

/** The alarm clock that rings by virtual time. Same promises as the real one: an alarm set twice rings once. */
export function createVirtualQueue(clock: VirtualClock): AlarmQueue {
  const set = new Set<string>()
  let ring: ((alarm: Alarm) => Promise<void>) | null = null
  const setSoon = (alarms: readonly Alarm[]) => {
    for (const alarm of alarms) {
      const key = alarmKey(alarm)
      if (set.has(key)) continue
      set.add(key)
      clock.at(alarm.at, async () => {
        set.delete(key)
        await ring?.(alarm)
      })
    }
  }
  return {
    set: async (alarms) => setSoon(alarms),
    setSoon,
    ready: async () => true,
    start: async (listener) => {
      ring = listener
    },
    quiet: async () => {
      ring = null
    },
    stop: async () => {
      ring = null
    },
  }
}
