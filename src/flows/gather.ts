/** Takes single items and does them together: whatever came in while the batch before was at work goes next. */
export interface Gathered<I, O> {
  add(item: I): Promise<O>
}

interface Waiting<I, O> {
  item: I
  done: (value: O) => void
  fail: (error: unknown) => void
}

/**
 * Under little load every item goes at once and alone; under much, batches grow by themselves. No timer, no waiting for
 * company.
 *
 * @param work does a batch and returns a result for each item, in order. When it throws, each item is tried alone, so
 *   that one bad item does not spoil the rest.
 */
export function gather<I, O>(work: (items: I[]) => Promise<O[]>, { most, atOnce = 1 }: { most: number; atOnce?: number }): Gathered<I, O> {
  const waiting: Waiting<I, O>[] = []
  let working = 0

  async function settle(batch: Waiting<I, O>[]): Promise<void> {
    try {
      const results = await work(batch.map(({ item }) => item))
      batch.forEach(({ done }, index) => done(results[index]!))
    } catch (error) {
      if (batch.length === 1) batch[0]!.fail(error)
      else for (const each of batch) await settle([each])
    }
  }

  function go(): void {
    while (working < atOnce && waiting.length > 0) {
      working++
      void settle(waiting.splice(0, most)).finally(() => {
        working--
        go()
      })
    }
  }

  return {
    add: (item) =>
      new Promise<O>((done, fail) => {
        waiting.push({ item, done, fail })
        // Items that are added in one go belong together.
        queueMicrotask(go)
      }),
  }
}
