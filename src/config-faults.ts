import { looksDrawn, looksRandom } from './domain/access/strong-secret.ts'

/** One or more keys; `~` before one means that it only opens. */
export const keyOf = (part: string) => Buffer.from(part.trim().replace(/^~/, ''), 'base64')

export interface SettingFault {
  field: string
  message: string
}

/** What settings ask of each other, whatever else is wrong with them. */
export function faultsTogether(env: Record<string, string | undefined>): SettingFault[] {
  const faults: SettingFault[] = []
  const fault = (field: string, message: string) => void faults.push({ field, message })
  if (!isLocal(env.HOST) && !env.DAYSIX_API_KEY)
    fault('DAYSIX_API_KEY', 'Set it: without a key the service listens on 127.0.0.1 only.')
  const provider = [env.OIDC_ISSUER, env.OIDC_CLIENT_ID, env.OIDC_CLIENT_SECRET]
  if (provider.some(Boolean) && !provider.every(Boolean))
    fault('OIDC_ISSUER', 'Set OIDC_ISSUER, OIDC_CLIENT_ID and OIDC_CLIENT_SECRET together.')
  if (env.OIDC_ISSUER && !env.PUBLIC_URL) fault('PUBLIC_URL', 'Set it: the identity provider sends people back to it.')
  faults.push(...faultsOfMllp(env))
  return env.NODE_ENV === 'production' ? [...faults, ...faultsInProduction(env)] : faults
}

const isLocal = (host = '127.0.0.1') => ['127.0.0.1', '::1', 'localhost'].includes(host)

/**
 * MLLP has no sign-in, and its messages name patients: in production whoever is on another machine must come over TLS
 * and show a certificate. A tunnel that does both ends on this machine, where nothing is asked.
 */
function faultsOfMllp(env: Record<string, string | undefined>): SettingFault[] {
  const faults: SettingFault[] = []
  const fault = (field: string, message: string) => void faults.push({ field, message })
  const { MLLP_PORT, MLLP_CERT, MLLP_KEY, MLLP_CLIENT_CA, FEEDS_DIR } = env
  if (MLLP_PORT && !FEEDS_DIR)
    fault('FEEDS_DIR', 'Set it: without descriptions of feeds no message over MLLP is taken.')
  if (!MLLP_PORT && (MLLP_CERT || MLLP_KEY || MLLP_CLIENT_CA)) fault('MLLP_PORT', 'Set it, or none of MLLP_….')
  if (Boolean(MLLP_CERT) !== Boolean(MLLP_KEY))
    fault(MLLP_CERT ? 'MLLP_KEY' : 'MLLP_CERT', 'Set MLLP_CERT and MLLP_KEY together.')
  if (MLLP_CLIENT_CA && !MLLP_CERT) fault('MLLP_CERT', 'Set it: without TLS nobody shows a certificate.')
  if (env.NODE_ENV !== 'production' || !MLLP_PORT || isLocal(env.MLLP_HOST ?? env.HOST)) return faults
  const behind = 'or set MLLP_HOST to 127.0.0.1, where a tunnel of your own ends'
  if (!MLLP_CERT && !MLLP_KEY) fault('MLLP_CERT', `In production MLLP must come over TLS: set it, ${behind}.`)
  if (!MLLP_CLIENT_CA)
    fault(
      'MLLP_CLIENT_CA',
      `MLLP has no sign-in, and senders must show a certificate in production: set it, ${behind}.`,
    )
  return faults
}

function faultsInProduction(env: Record<string, string | undefined>): SettingFault[] {
  const faults: SettingFault[] = []
  const fault = (field: string, message: string) => void faults.push({ field, message })
  if (env.OIDC_ISSUER?.startsWith('http:'))
    fault('OIDC_ISSUER', 'In production the identity provider must speak TLS: https://…')
  if (!env.DAYSIX_KEY)
    fault(
      'DAYSIX_KEY',
      'Set it in production, and keep a copy where backups are not: without it the data cannot be read.',
    )
  else if (!env.DAYSIX_KEY.split(',').every((part) => looksRandom(keyOf(part))))
    fault('DAYSIX_KEY', 'This is not random: draw it by lot, e.g. with: openssl rand -base64 32')
  if (!env.DAYSIX_API_KEY) fault('DAYSIX_API_KEY', 'Set it in production.')
  else if (!looksDrawn(env.DAYSIX_API_KEY))
    fault('DAYSIX_API_KEY', 'Use 32 characters or more, drawn by lot, e.g. with: openssl rand -base64 32')
  if (!env.PUBLIC_URL) fault('PUBLIC_URL', 'Set it in production: texts point to it.')
  else if (!/^https:|^http:\/\/(localhost|127\.\d+\.\d+\.\d+|\[::1\])(:|\/|$)/.test(env.PUBLIC_URL))
    fault('PUBLIC_URL', 'In production patients and the desk must come over TLS: https://…')
  if (!env.ALARM_COVER)
    fault(
      'ALARM_COVER',
      "Set it in production: say who answers urgent replies outside the desk's hours, and how they are reached.",
    )
  if (!env.GATEWAYS_DIR) fault('GATEWAYS_DIR', 'Set it in production: nothing can be sent without a gateway.')
  return faults
}
