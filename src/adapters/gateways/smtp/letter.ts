import MailComposer from 'nodemailer/lib/mail-composer'
import type { Outgoing } from '../../../flows/ports/gateway.ts'
import { domainOf } from './ascii-address.ts'
import type { SmtpConfig } from './smtp-config.ts'

/** The same for the same message, however often it is sent: who gets it twice sees it once (RFC 5322 §3.6.4). */
export function messageIdOf(id: string, { from }: Pick<SmtpConfig, 'from'>): string {
  // Every sign that is none of `atext`, and the dot, whose place matters.
  const atom = encodeURIComponent(id).replace(/[().]/g, (sign) => `%${sign.charCodeAt(0).toString(16)}`)
  return `${atom}@${domainOf(from.address)}`
}

/**
 * The letter as it travels: plain text in UTF-8, with the headers that a letter must have and no others, so that none
 * tells of the patient. Quoted-printable keeps each sign through servers that know ASCII only, and long lines whole.
 * @param to one ASCII address
 * @param now its Date
 */
export function writeLetter({ id, text, subject = '' }: Outgoing, to: string, config: SmtpConfig, now: Date) {
  const { from, replyTo } = config
  const composed = new MailComposer({
    from: { address: from.address, name: from.name ?? '' },
    to: { address: to, name: '' },
    ...(replyTo !== undefined && { replyTo: { address: replyTo, name: '' } }),
    subject,
    text,
    messageId: `<${messageIdOf(id, config)}>`,
    date: now,
    // RFC 3834: no machine answers it.
    headers: { 'Auto-Submitted': 'auto-generated' },
    encoding: 'quoted-printable',
    newline: 'windows',
    disableFileAccess: true,
    disableUrlAccess: true,
  })
  return composed.compile().build()
}
