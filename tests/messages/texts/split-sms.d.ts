/** The referee comes without types; only what the tests use. */
declare module 'split-sms' {
  export function split(text: string): { characterSet: 'GSM' | 'Unicode'; parts: unknown[]; bytes: number }
}
