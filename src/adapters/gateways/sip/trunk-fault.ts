import type { SendOutcome } from '../../../flows/ports/gateway.ts'

/** No connection to the trunk: nothing has been dialled. */
export class TrunkFault extends Error {
  readonly outcome: SendOutcome

  constructor(kind: 'later' | 'misconfigured', code: string) {
    super(code)
    this.outcome = { kind, code }
  }
}

/** Faults that another try does not mend, by OpenSSL's and Node's names for them. */
const NOT_OURS: [names: RegExp, code: string][] = [
  [/ALTNAME_INVALID/, 'tls-name'],
  [/CERT_HAS_EXPIRED|CERT_NOT_YET_VALID/, 'tls-expired'],
  [/SELF_SIGNED|UNABLE_TO|CERT_(?!REQUIRED)|INVALID_CA/, 'tls-untrusted'],
  [/WRONG_VERSION|PACKET_LENGTH|UNEXPECTED_MESSAGE|HTTP_REQUEST|RECORD_LAYER/, 'tls-none'],
  [/^ERR_SSL|EPROTO/, 'tls-refused'],
]

/** @param error as a socket has it, before it was connected */
export function trunkFaultOf(error: unknown): TrunkFault {
  const code = String((error as { code?: unknown }).code ?? 'connect-timeout')
  const known = NOT_OURS.find(([names]) => names.test(code))
  return known ? new TrunkFault('misconfigured', known[1]) : new TrunkFault('later', code.toLowerCase())
}
