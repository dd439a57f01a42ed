import type { MessageState } from '../../../domain/messages/message.ts'

/** States as a statement lists them. */
export const statesOf = (states: readonly MessageState[]) => states.map((state) => `'${state}'`).join(', ')
