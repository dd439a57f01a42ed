/**
 * For `vi.waitFor` and `vi.waitUntil`: asks again and again for what must come. On a busy machine it comes late, so the
 * limit only ends what never will.
 */
export const SOON = { timeout: 60_000, interval: 20 }
