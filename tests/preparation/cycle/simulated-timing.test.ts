import { describe, expect, it } from 'vitest'
import { ALL_COMERS, drawCases, REGULAR, TWO_PHASE } from './simulated-patients.ts'
import { simulateTiming } from './simulated-timing.ts'

// Women of three laws of cycles that are not the forecast's own (sources in simulated-patients.ts). Limits are figures of
// this seed with room for chance; `npm run bench -- timing` has them for more women, and the prices.
const cases = [REGULAR, TWO_PHASE, ALL_COMERS].flatMap((world, index) => drawCases(world, 100, 6, 40 + index))

describe('the rule and the questions together', () => {
  it('leave few visits on days 1-5 even with no history, fewer with answers', { timeout: 60_000 }, () => {
    const told = { stated: true }
    const [all, none] = [1, 0].map((answering) => simulateTiming(cases, { told, answering, free: 1 }))
    expect(all!.forgotten).toBeGreaterThan(0.12)
    expect(none!.left).toBe(none!.afterBooking)
    expect(all!.afterBooking).toBeLessThan(0.05)
    expect(all!.left).toBeLessThan(0.02)
    expect(all!.left).toBeLessThan(none!.left)
    // The price: the desk must not drown, and who was moved once should stay.
    expect(none!.calls).toBeLessThan(0.05)
    expect(all!.movedAgain).toBeLessThan(0.13)
    expect(all!.shiftDays).toBeLessThan(4.5)
  })
})
