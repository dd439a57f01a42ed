import { Secret, TOTP } from 'otpauth'

const SECRET_BYTES = 20
const STEP_MS = 30_000
/** Steps a telephone's clock may be off, either way. */
const WINDOW = 1

/** A new secret for a code generator, in base32. */
export function newTotpSecret(): string {
  return new Secret({ size: SECRET_BYTES }).base32
}

function generator(secret: string, login: string): TOTP {
  return new TOTP({
    issuer: 'Daysix',
    label: login,
    algorithm: 'SHA1',
    digits: 6,
    period: STEP_MS / 1000,
    secret: Secret.fromBase32(secret),
  })
}

/** What a code generator reads, as a link or typed in. */
export function totpAddress(secret: string, login: string): string {
  return generator(secret, login).toString()
}

/**
 * The step a code belongs to (RFC 6238); null when it is wrong. The caller must refuse a step used before.
 * @param code as typed; spaces do not matter.
 */
export function totpStepOf(secret: string, login: string, code: string, now: Date): number | null {
  const token = code.replaceAll(/\s/g, '')
  if (!/^\d{6}$/.test(token)) return null
  const delta = generator(secret, login).validate({ token, timestamp: now.getTime(), window: WINDOW })
  return delta === null ? null : Math.floor(now.getTime() / STEP_MS) + delta
}
