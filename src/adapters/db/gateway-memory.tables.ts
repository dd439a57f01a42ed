/** A long text that comes in parts, or came and was heard a moment ago. */
export interface LongReplyTable {
  id: string
  gateway: string
  text_print: string
  phone_print: string
  total: number
  /** Keyed hashes of the parts that have come, each in its place; empty where none has. */
  part_prints: string[]
  /** Null once it is heard. */
  sealed: string | null
  came_at: Date
  closed_at: Date | null
  heard_at: Date | null
}

/** A part that the peer took, or a receipt that was quicker than our record of that. */
export interface SentPartTable {
  gateway: string
  ref: string
  sending: string | null
  message_id: string | null
  parts: number | null
  state: 'delivered' | 'undelivered' | null
  code: string | null
  at: Date
}
