/** Takes single items and does them together: whatever came in while the batch before was at work goes next. */
export interface Batcher<I, O> {
  add(item: I): Promise<O>
}

interface Waiting<I, O> {
  item: I
  done: (value: O) => void
  fail: (error: unknown) => void
}

/** Waits for company: as long as more keeps coming within each pause, and only so often. */
export interface Linger {
  pause: () => Promise<void>
  most: number
}

/**
 * Under little load every item goes alone and almost at once; under much, batches grow by themselves.
 *
 * @param work does a batch and returns a result for each item, in order. When it throws, each item is tried alone, so
 *   that one bad item does not spoil the rest.
 * @param options `most` items a batch. `linger` where items come one after the other from a source that the work itself
 *   keeps waiting: without it every batch would be of one.
 */
export function createBatcher<I, O>(
  work: (items: I[]) => Promise<O[]>,
  { most, linger }: { most: number; linger?: Linger },
): Batcher<I, O> {
  const waiting: Waiting<I, O>[] = []
  let working = false

  async function settle(batch: Waiting<I, O>[]): Promise<void> {
    try {
      const results = await work(batch.map(({ item }) => item))
      batch.forEach(({ done }, index) => done(results[index]!))
    } catch (error) {
      if (batch.length === 1) batch[0]!.fail(error)
      else for (const each of batch) await settle([each])
    }
  }

  async function company(): Promise<void> {
    for (let n = 0, before = 0; linger && n < linger.most && waiting.length > before && waiting.length < most; n++) {
      before = waiting.length
      await linger.pause()
    }
  }

  async function go(): Promise<void> {
    if (working) return
    working = true
    while (waiting.length > 0) {
      await company()
      await settle(waiting.splice(0, most))
    }
    working = false
  }

  return {
    add: (item) =>
      new Promise<O>((done, fail) => {
        waiting.push({ item, done, fail })
        // Items that are added in one go belong together.
        queueMicrotask(() => void go())
      }),
  }
}
