import { tellFault } from '../adapters/faults/tell-fault.ts'

/** Runs a command's action; what stops it is said in plain lines, and the command exits with 1. */
export function plainly<A extends unknown[]>(action: (...given: A) => Promise<void>): (...given: A) => Promise<void> {
  return async (...given) => {
    try {
      await action(...given)
    } catch (error) {
      tellFault(error)
      process.exitCode = 1
    }
  }
}
