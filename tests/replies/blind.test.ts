import { describe, expect, it } from 'vitest'
import { readBatch, scoreOf } from './blind-texts.ts'

/**
 * Texts written and labelled by somebody who had not seen the vocabulary, a third of them meant to be hard; invented, no
 * published source. Each batch was scored once before anything was learned from it: see `src/domain/replies/README.md`.
 * From then on it is known, and must not be read worse than it is.
 */
const BATCHES = [
  { batch: 1, accepted: 0.93, wrong: 7 },
  { batch: 2, accepted: 0.9, wrong: 8 },
  { batch: 3, accepted: 0.89, wrong: 4 },
  { batch: 4, accepted: 0.87, wrong: 4 },
  { batch: 5, accepted: 0.89, wrong: 5 },
]

describe('a batch of blind texts', () => {
  it.each(BATCHES)('number $batch is read no worse than it was', ({ batch, accepted, wrong }) => {
    const score = scoreOf(readBatch(new URL(`blind/batch-${batch}.tsv`, import.meta.url)))
    console.log(
      `batch ${batch}: ${score.texts} texts, ${((100 * score.accepted) / score.texts).toFixed(1)} % acceptable, ` +
        `${((100 * score.sharp) / score.texts).toFixed(1)} % sharp, ${score.wrong.length} of ${score.acted} acted on wrong`,
    )
    expect(score.texts).toBeGreaterThan(400)
    expect(score.accepted / score.texts).toBeGreaterThanOrEqual(accepted)
    expect(score.wrong.length, score.wrong.join('\n')).toBeLessThanOrEqual(wrong)
  })
})
