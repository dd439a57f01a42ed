import { describe, expect, it } from 'vitest'
import { checkPassword } from '../../src/adapters/sign-in/passwords.ts'

describe('a new password', () => {
  // A sample of those with 12 characters or more among the first thousands of the list of the 100,000 most used
  // passwords that the UK National Cyber Security Centre published (2019), as kept in danielmiessler/SecLists,
  // Passwords/Common-Credentials/100k-most-used-passwords-NCSC.txt.
  it.each([
    '1q2w3e4r5t6y',
    '123qweasdzxc',
    'q1w2e3r4t5y6',
    'qwerty123456',
    'qazwsxedcrfv',
    'justinbieber',
    'qwertyqwerty',
    '123456654321',
    '123456123456',
    '112233445566',
    '1qaz2wsx3edc',
    '123456789987654321',
    '1q2w3e4r5t6y7u8i9o0p',
  ])('is not "%s": it is among the most used', async (password) => {
    await expect(checkPassword(password, [])).rejects.toThrow(/easy to guess/)
  })

  // Well known; the first from Randall Munroe, "Password Strength" (xkcd 936), and from all that was written about it.
  it.each([
    'correct horse battery staple',
    'CorrectHorseBatteryStaple',
    'Correct-Horse-Battery-Staple-1!',
    'c0rrecth0rseb4tteryst4ple',
    'the quick brown fox',
    'may the force be with you',
    'To be, or not to be?',
    'twinkle twinkle little star',
    'once upon a time 2026',
    'let me in please',
  ])('is not "%s": everybody knows it', async (password) => {
    await expect(checkPassword(password, [])).rejects.toThrow(/easy to guess/)
  })

  // Drawn by lot for this test.
  it.each(['tiny plum gallop stern', 'brisk otter lantern wharf', 'x7Rk-92mQv-LLt4w', 'rapide nuage violon cendre'])(
    'may be "%s"',
    async (password) => {
      await expect(checkPassword(password, ['clerk-smith', 'Clerk Smith'])).resolves.toBeUndefined()
    },
  )
})
