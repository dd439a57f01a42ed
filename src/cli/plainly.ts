import { Failure } from '../domain/failure.ts'

/** Runs a command's action; a registered failure is said in one line, and the command exits with 1. */
export function plainly<A extends unknown[]>(action: (...given: A) => Promise<void>): (...given: A) => Promise<void> {
  return async (...given) => {
    try {
      await action(...given)
    } catch (error) {
      if (!(error instanceof Failure)) throw error
      process.stderr.write(`${error.detail.message}\n`)
      process.exitCode = 1
    }
  }
}
