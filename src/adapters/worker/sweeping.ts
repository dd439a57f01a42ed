/**
 * Sweeps now and in a steady rhythm, never twice at once.
 * @param told how long a sweep took, in seconds, and whether it succeeded.
 * @returns how to stop: a sweep in progress is finished.
 */
export function startSweeping(
  sweep: () => Promise<void>,
  everySeconds: number,
  told: (seconds: number, succeeded: boolean) => void,
  onError: (error: Error) => void,
): () => Promise<void> {
  let running: Promise<void> | undefined
  const once = async () => {
    const began = performance.now()
    const succeeded = await sweep().then(
      () => true,
      (error: Error) => (onError(error), false),
    )
    told((performance.now() - began) / 1000, succeeded)
  }
  const run = () => {
    running ??= once().finally(() => (running = undefined))
  }
  const timer = setInterval(run, everySeconds * 1000)
  run()
  return async () => {
    clearInterval(timer)
    await running
  }
}
