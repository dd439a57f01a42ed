/**
 * Does `work` now and in a steady rhythm, never twice at once.
 * @returns how to stop; work in progress is finished.
 */
export function startRhythm(
  everyMs: number,
  work: () => Promise<unknown>,
  onError: (error: Error) => void,
): () => Promise<void> {
  let running: Promise<unknown> | undefined
  const once = () => {
    running ??= work()
      .catch(onError)
      .finally(() => (running = undefined))
  }
  const timer = setInterval(once, everyMs)
  timer.unref()
  once()
  return async () => {
    clearInterval(timer)
    await running
  }
}
