import { badInput } from '../failure.ts'

/**
 * One mailbox, as people write it: RFC 5321 and 6531 allow more (quotes, comments, addresses without a dot, letters
 * beyond ASCII before the @, which few servers take), which is far more often a slip than meant. Nothing in it can add
 * a second recipient.
 */
const MAILBOX = /^[!#-'*+\-./0-9=?A-Z^_`a-z{|}~]{1,64}@(?:[^\s@<>()[\]\\,;:".]{1,63}\.)+[^\s@<>()[\]\\,;:".]{2,63}$/u
const LONGEST = 254

/** An address without the blanks around it. @throws bad-input for what is none */
export function toMailAddress(text: string, field: string): string {
  const address = text.trim()
  return address.length <= LONGEST && MAILBOX.test(address)
    ? address
    : badInput(field, 'This is not one e-mail address. Write it as name@place.example.')
}
