import type { SendOutcome } from '../../../flows/ports/gateway.ts'
import { safeCode } from '../safe-code.ts'
import { tlsFaultOf } from '../tls-faults.ts'

/** How far a letter had come. `content`: its words had begun to go out. */
export type Step = 'connect' | 'greeting' | 'login' | 'envelope' | 'content'

/** As nodemailer tells of a fault: the step by its name for a command, and what the server said. */
export interface SmtpFault {
  code?: string
  /** What the socket called it, where the library has a name of its own. */
  originalCode?: string
  command?: string
  response?: string
  responseCode?: number
}

const misconfigured = (code: string): SendOutcome => ({ kind: 'misconfigured', code })
const later = (code: string): SendOutcome => ({ kind: 'later', code })

/**
 * What a fault means for the letter, by the step and the server's reply code (RFC 5321 §4.2): 5 is for good, 4 for
 * now. The server's words are never looked at, but for the enhanced code before them: they may hold the address.
 */
export function outcomeOf(step: Step, fault: SmtpFault): SendOutcome {
  if (step === 'content') return afterContent(fault)
  const tls = step === 'login' || step === 'envelope' ? undefined : tlsOutcome(fault)
  return tls ?? BEFORE[step](fault) ?? later(codeOf(fault))
}

/** Only an answer to the content itself says what became of it. */
function afterContent(fault: SmtpFault): SendOutcome {
  const refusal = fault.code === 'EMESSAGE' ? severity(fault) : undefined
  if (refusal === 5) return { kind: 'rejected', code: codeOf(fault) }
  return refusal === 4 ? later(codeOf(fault)) : { kind: 'unknown', code: codeOf(fault) }
}

const BEFORE: Record<Exclude<Step, 'content'>, (fault: SmtpFault) => SendOutcome | undefined> = {
  connect: () => undefined,
  greeting: () => undefined,
  // Nothing but a refusal for now is mended by another try.
  login: (fault) => (fault.code === 'EAUTH' && severity(fault) !== 4 ? misconfigured('auth-refused') : undefined),
  envelope: (fault) => {
    if (severity(fault) !== 5) return undefined
    if (fault.responseCode === AUTH_REQUIRED) return misconfigured('auth-needed')
    if (fault.command === 'MAIL FROM' || ABOUT_SENDER.test(fault.response ?? '')) return misconfigured('sender-refused')
    return { kind: 'rejected', code: codeOf(fault) }
  },
}

/** RFC 4954 §6. */
const AUTH_REQUIRED = 530
/** Many servers say only at RCPT that they refuse the sender: RFC 3463 §3.2, 5.1.7 and 5.1.8. */
const ABOUT_SENDER = /^\d{3}[ -]5\.1\.[78]\b/

function tlsOutcome({ code, command, originalCode = code, ...fault }: SmtpFault): SendOutcome | undefined {
  // STARTTLS is asked for also where it was not offered, so that its answer tells.
  if (command === 'STARTTLS' && code === 'ETLS')
    return { kind: severity(fault) === 4 ? 'later' : 'misconfigured', code: 'no-starttls' }
  const known = tlsFaultOf(originalCode ?? '')
  return known === undefined ? undefined : misconfigured(known)
}

function severity({ responseCode }: SmtpFault): number | undefined {
  return responseCode === undefined ? undefined : Math.floor(responseCode / 100)
}

/** The library's names for what has none of the socket's. */
const NAMES: Record<string, string> = {
  ECONNECTION: 'connection-lost',
  ESOCKET: 'connection-lost',
  ETLS: 'tls-lost',
  EPROTOCOL: 'not-smtp',
}

function codeOf({ code, originalCode, responseCode }: SmtpFault): string {
  if (responseCode !== undefined) return `smtp-${responseCode}`
  // How a connection ends that was there is a matter of moments.
  const wasThere = code === 'ESOCKET' && /^(ECONNRESET|EPIPE)$/.test(originalCode ?? '')
  const name = (wasThere ? code : (originalCode ?? code)) ?? 'broken'
  return safeCode(NAMES[name] ?? name.toLowerCase()) ?? 'broken'
}
