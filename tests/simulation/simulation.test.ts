import { describe, expect, it } from 'vitest'
import { Simulation } from './simulation.ts'

const SEEDS = (process.env.SIMULATION_SEEDS ?? '1,2,3,4').split(',').map(Number)

describe('a week in which the service dies again and again', () => {
  it.each(SEEDS)('keeps every promise (seed %i)', async (seed) => {
    const simulation = new Simulation(seed)
    const { findings } = await simulation.run()
    expect(simulation.crashes).toBeGreaterThan(0)
    expect(findings.find(({ rule }) => rule === 'every message due is settled')!.looked).toBeGreaterThan(20)
    expect(findings.filter(({ breaches }) => breaches.length > 0)).toEqual([])
  }, 90_000)

  it('is the same week for the same seed', async () => {
    const [first, second] = [await new Simulation(7).run(), await new Simulation(7).run()]
    expect(second.digest).toBe(first.digest)
  }, 120_000)
})
