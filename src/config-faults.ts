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
  const local = ['127.0.0.1', '::1', 'localhost'].includes(env.HOST ?? '127.0.0.1')
  if (!local && !env.DAYSIX_API_KEY)
    fault('DAYSIX_API_KEY', 'Set it: without a key the service listens on 127.0.0.1 only.')
  const provider = [env.OIDC_ISSUER, env.OIDC_CLIENT_ID, env.OIDC_CLIENT_SECRET]
  if (provider.some(Boolean) && !provider.every(Boolean))
    fault('OIDC_ISSUER', 'Set OIDC_ISSUER, OIDC_CLIENT_ID and OIDC_CLIENT_SECRET together.')
  if (env.OIDC_ISSUER && !env.PUBLIC_URL) fault('PUBLIC_URL', 'Set it: the identity provider sends people back to it.')
  return env.NODE_ENV === 'production' ? [...faults, ...faultsInProduction(env)] : faults
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
