import type { SendOutcome } from '../../../flows/ports/gateway.ts'
import { tlsFaultOf } from '../tls-faults.ts'

/** No connection to the trunk: nothing has been dialled. */
export class TrunkFault extends Error {
  readonly outcome: SendOutcome

  constructor(kind: 'later' | 'misconfigured', code: string) {
    super(code)
    this.outcome = { kind, code }
  }
}

/** @param error as a socket has it, before it was connected */
export function trunkFaultOf(error: unknown): TrunkFault {
  const code = String((error as { code?: unknown }).code ?? 'connect-timeout')
  const known = tlsFaultOf(code)
  return known ? new TrunkFault('misconfigured', known) : new TrunkFault('later', code.toLowerCase())
}
