import type { Protocol } from '../protocol.ts'

/** What a forecast needs to know of a protocol: which cycle days to avoid and which are ideal. */
export type Timing = Pick<Protocol, 'avoidDays' | 'idealDay' | 'idealWindow'>
