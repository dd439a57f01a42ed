/**
 * What a peer does with a message, chosen by the number it goes to. All numbers are reserved for fiction (+1 613 555
 * 01xx).
 */
export const FATES = {
  accept: '+16135550142',
  reject: '+16135550111',
  later: '+16135550108',
  throttle: '+16135550158',
  /** Accepted, and answered after a third of a second. */
  slow: '+16135550190',
  /** Answered twice, and its receipt told twice. */
  twice: '+16135550192',
  noReceipt: '+16135550193',
  earlyReceipt: '+16135550191',
  undelivered: '+16135550188',
  /** Taken, and the connection dropped before the answer. */
  drop: '+16135550198',
  /** Taken, and never answered. */
  silent: '+16135550199',
} as const

export type Fate = keyof typeof FATES

/** The patient that replies come from. */
export const PATIENT = '+16135550142'
