import { Duration } from 'luxon'
import type { SmppConfig } from './smpp-config.ts'

/**
 * `validity_period` in the format of SMPP 3.4 §7.1.1: sixteen characters `YYMMDDhhmmsstnnp`, absolute in UTC or
 * relative (`R`). Days are the largest unit of a relative time, since months differ in length.
 */
export function validityPeriod(notAfter: Date, now: Date, kind: SmppConfig['validity']): string {
  if (kind === 'none') return ''
  if (kind === 'absolute') return `${notAfter.toISOString().replace(/\D/g, '').slice(2, 14)}000+`
  const left = Duration.fromMillis(Math.max(1000, notAfter.getTime() - now.getTime()))
  return `0000${left.toFormat('ddhhmmss')}000R`
}
