import { describe, expect, it } from 'vitest'
import { ALL_COMERS, drawCases, REGULAR, TWO_PHASE } from './simulated-patients.ts'
import { runTiming } from './timing-through-service.ts'

// Women of three laws of cycles that are not the forecast's own (sources in simulated-patients.ts). Figures of this seed;
// `npm run bench -- service-timing` has them for more women and for each path.
const cases = [REGULAR, TWO_PHASE, ALL_COMERS].flatMap((world, index) => drawCases(world, 6, 6, 40 + index))

describe('the running service', () => {
  it(
    'asks, is answered, and moves badly timed visits, though nobody acts on the booking',
    { timeout: 90_000 },
    async () => {
      const outcome = await runTiming(cases, { told: { stated: true }, deskMoves: false, answering: 1 })
      expect(outcome.forgotten).toBeGreaterThan(0.1)
      expect(outcome.left).toBeLessThan(outcome.forgotten / 2)
      expect(outcome.movedLater).toBeGreaterThan(0.1)
      expect(outcome.questions).toBeGreaterThan(0.5)
      expect(outcome.texts).toBeLessThan(7)
    },
  )
})
