import { badInput } from '../failure.ts'

/**
 * One mailbox, as people write it: RFC 5321 allows more (quotes, comments, addresses without a dot), which is far more
 * often a slip than meant. Nothing in it can add a second recipient.
 */
const MAILBOX = /^[^\s@<>()[\]\\,;:"]{1,64}@(?:[^\s@<>()[\]\\,;:".]{1,63}\.)+[^\s@<>()[\]\\,;:".]{2,63}$/u
const LONGEST = 254

/** An address without the blanks around it. @throws bad-input for what is none */
export function toMailAddress(text: string, field: string): string {
  const address = text.trim()
  return address.length <= LONGEST && MAILBOX.test(address)
    ? address
    : badInput(field, 'This is not one e-mail address. Write it as name@place.example.')
}
