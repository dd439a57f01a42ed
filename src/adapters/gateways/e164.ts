import { parsePhoneNumberFromString, type CountryCode } from 'libphonenumber-js'

/**
 * A number as peers write it, in E.164; undefined when it is none (a name, a short code).
 *
 * @param country ISO 3166 code of the country whose national form is to be understood; without it, digits are taken
 *   as international, with or without `+` or `00`.
 */
export function e164(number: string, country?: string): string | undefined {
  const bare = number.replace(/[\s().-]/g, '')
  if (country !== undefined) return parsePhoneNumberFromString(bare, country as CountryCode)?.number
  const digits = /^(?:\+|00)?([1-9]\d{6,14})$/.exec(bare)?.[1]
  return digits && `+${digits}`
}
