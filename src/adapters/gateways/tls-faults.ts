/** Faults of TLS that another try does not mend, by OpenSSL's and Node's names for them. */
const FAULTS: [names: RegExp, code: string][] = [
  [/ALTNAME_INVALID/, 'tls-name'],
  [/CERT_HAS_EXPIRED|CERT_NOT_YET_VALID/, 'tls-expired'],
  [/SELF_SIGNED|UNABLE_TO|CERT_(?!REQUIRED)|INVALID_CA/, 'tls-untrusted'],
  [/WRONG_VERSION|PACKET_LENGTH|UNEXPECTED_MESSAGE|HTTP_REQUEST|RECORD_LAYER/, 'tls-none'],
  [/^ERR_SSL|^EPROTO$/, 'tls-refused'],
]

/** A certificate that does not hold, by the code of the error. */
export const UNTRUSTED = /CERT|SELF_SIGNED|UNABLE_TO_VERIFY|ALTNAME/

/** @param code of an error, as a socket has it before TLS stands; undefined where it is no fault of TLS */
export function tlsFaultOf(code: string): string | undefined {
  return FAULTS.find(([names]) => names.test(code))?.[1]
}
