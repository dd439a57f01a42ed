/** What is worth following: few steps, each at the edge of a flow. */
export type Step =
  | 'request'
  | 'book visit'
  | 'keep plan'
  | 'enqueue'
  | 'send'
  | 'claim'
  | 'hand over'
  | 'record'
  | 'take receipt'
  | 'take reply'
  | 'sweep'

/**
 * All that may be told of a step. Ids and words of ours; there is no place for a name, a number, what somebody wrote
 * or meant by it, a date of birth or a period.
 */
export interface Facts {
  /** Whose trace the step belongs to. */
  booking?: string | null | undefined
  clinic?: string
  message?: string
  attempt?: number
  reply?: string
  revision?: number
  /** How many of them: messages planned, jobs enqueued. */
  messages?: number
  kind?: string
  channel?: string
  language?: string
  gateway?: string
  outcome?: string
  code?: string | null
  sureness?: 'high' | 'middle' | 'low'
  method?: string
  route?: string
  status?: number
  problem?: string
  /** What went wrong, in a word of ours. */
  error?: string | undefined
  /** Of W3C Trace Context, as whoever asked sent it: a step of theirs that this one came from. */
  traceparent?: string | undefined
  /** There was nothing to do after all: nothing is told. */
  idle?: boolean
}

export type Note = (facts: Facts) => void

/** Where it is told what was done, so that a booking can be followed through all processes. */
export interface Traces {
  /** False where nobody listens. */
  readonly on: boolean
  /**
   * Does `work`, and tells of it once it is over, well or badly. What is known only then is noted meanwhile. Whatever
   * becomes of the telling, `work` goes on as it would without.
   */
  span<T>(step: Step, facts: Facts, work: (note: Note) => Promise<T>): Promise<T>
  /** Tells what it still holds, for some seconds at most. */
  stop(): Promise<void>
}

const nothing = () => {}

/** Nobody listens. */
export const NO_TRACES: Traces = { on: false, span: (_step, _facts, work) => work(nothing), stop: async () => {} }
