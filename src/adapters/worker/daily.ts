const LOOK_EVERY_MS = 3_600_000

/**
 * Looks every hour whether the daily work is due, and does it.
 * @returns how to stop; work in progress is finished.
 */
export function startDaily(work: () => Promise<unknown>, onError: (error: Error) => void): () => Promise<void> {
  let running: Promise<unknown> = Promise.resolve()
  const look = () => (running = running.then(work).catch(onError))
  const timer = setInterval(look, LOOK_EVERY_MS)
  timer.unref()
  look()
  return async () => {
    clearInterval(timer)
    await running
  }
}
