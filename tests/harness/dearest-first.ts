import { relative } from 'node:path'
import { BaseSequencer, type TestSpecification } from 'vitest/node'

/**
 * The files that take longest, as the end of a run tells. They start first, so that no worker is left alone with one of
 * them at the end. Where vitest remembers an earlier run, its own order holds for the others.
 */
export const DEAREST: readonly string[] = []

export class DearestFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const sorted = await super.sort(files)
    const place = ({ moduleId }: TestSpecification) => {
      const at = DEAREST.indexOf(relative(this.ctx.config.root, moduleId))
      return at < 0 ? DEAREST.length : at
    }
    return sorted.sort((a, b) => place(a) - place(b))
  }
}
