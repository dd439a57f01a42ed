import { parsePhoneNumberFromString, type CountryCode } from 'libphonenumber-js'
import { badInput } from '../failure.ts'

/**
 * A number in any usual national or international form as E.164.
 * Checked for possible length only: stricter lists refuse numbers reserved for fiction and numbers newer than the list.
 *
 * @param country ISO 3166 code that national forms are read in.
 * @throws bad-input on `field`
 */
export function toE164(written: string, country: string, field = 'phone'): string {
  const parsed = parsePhoneNumberFromString(written, country as CountryCode)
  if (!parsed?.isPossible())
    badInput(field, 'This is not a telephone number. Write it with its area code, or with + and the country code.')
  return parsed.number
}

/** A stored number as people write and read it, e.g. `+1 613 555 0142`. */
export function readablePhone(e164: string): string {
  return parsePhoneNumberFromString(e164)?.formatInternational() ?? e164
}

/**
 * Whether an E.164 number is set apart for fiction in North America, 555-0100 to 555-0199 of any area (North American
 * Numbering Plan; value from memory): nobody ever answers there.
 */
export const isFictional = (e164: string): boolean => /^\+1\d{3}55501\d{2}$/.test(e164)
