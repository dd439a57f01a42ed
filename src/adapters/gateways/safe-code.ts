/** A peer's code fit to be stored and logged: short, one word, without a run of digits that could be a phone number. */
export function safeCode(code: string | undefined): string | undefined {
  return code !== undefined && /^[\w.:/-]{1,40}$/.test(code) && !/\d{6}/.test(code) ? code : undefined
}
