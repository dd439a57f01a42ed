import { placesOf, wantsStacks } from '../../config.ts'
import { Failure } from '../../domain/failure.ts'
import { faultWords } from './fault-words.ts'

/** Says in plain lines what ended a program; where it happened, to whoever asks for it by LOG_LEVEL=debug. */
export function tellFault(error: unknown): void {
  process.stderr.write(`${faultWords(error, placesOf())}\n`)
  if (error instanceof Error && !(error instanceof Failure) && wantsStacks()) process.stderr.write(`${error.stack}\n`)
}
