import type { Protocol } from '../protocol.ts'

/** What a forecast needs to know of a protocol: which cycle days to avoid and which are ideal. */
export type Timing = Pick<Protocol, 'avoidDays' | 'idealDay' | 'idealWindow'>

/**
 * Not on days 1-5; ideal two weeks after the first day of the last period (LMP+14 = cycle day 15); fine window 10-20 days
 * after it (cycle days 11-21). Common practice; windows in laboratory hand-outs differ by a day or so.
 */
export const USUAL_TIMING: Timing = { avoidDays: { first: 1, last: 5 }, idealDay: 15, idealWindow: { first: 11, last: 21 } }
