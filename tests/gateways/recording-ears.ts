import type { KeyPress, InboundHandlers, InboundMessage, Receipt } from '../../src/flows/ports/gateway.ts'

/** Ears that write down what they hear; `refuse(n)` makes the next n calls fail as a database that is away would. */
export function recordingEars() {
  const receipts: Receipt[] = []
  const heards: InboundMessage[] = []
  const answereds: KeyPress[] = []
  let refusals = 0
  const take = <T>(list: T[], item: T): Promise<void> => {
    if (refusals-- > 0) return Promise.reject(new Error('the store is away'))
    list.push(item)
    return Promise.resolve()
  }
  const ears = {
    receipt: (receipt) => take(receipts, receipt),
    message: (heard) => take(heards, heard),
    keyPressed: (answered) => take(answereds, answered).then(() => null),
  } satisfies InboundHandlers
  return { ...ears, receipts, heards, answereds, refuse: (times: number) => void (refusals = times) }
}

export type RecordingEars = ReturnType<typeof recordingEars>
