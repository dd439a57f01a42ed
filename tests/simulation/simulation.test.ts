import { describe, expect, it } from 'vitest'
import { Simulation } from './simulation.ts'

/** For a longer run: SIMULATION_SEEDS=1,2,3,… */
const SEEDS = (process.env.SIMULATION_SEEDS ?? '1,2,3').split(',').map(Number)

describe('days in which connections break, processes die and machines sleep in the middle of everything', () => {
  const stories = new Map<number, string>()

  it.each(SEEDS)('keep every promise (seed %i)', async (seed) => {
    const simulation = new Simulation(seed)
    const { findings, digest } = await simulation.run()
    stories.set(seed, digest)
    expect(simulation.unexpected).toEqual([])
    expect(findings.filter(({ breaches }) => breaches.length > 0)).toEqual([])
    // Nor were they idle days.
    expect(findings.find(({ rule }) => rule === 'every message due is settled')!.looked).toBeGreaterThan(50)
    for (const event of [
      'commit dies-before',
      'commit dies-after',
      'commit breaks-before',
      'commit breaks-after',
      'stood still after commit',
    ]) {
      expect(simulation.events.get(event), event).toBeGreaterThan(0)
    }
  })

  it('are the same for the same seed', async () => {
    const [seed] = SEEDS
    expect((await new Simulation(seed!).run()).digest).toBe(
      stories.get(seed!) ?? (await new Simulation(seed!).run()).digest,
    )
  })

  it('are others for another seed', () => {
    expect(new Set(stories.values()).size).toBe(stories.size)
  })
})
