import { relative } from 'node:path'
import type { Reporter, TestModule } from 'vitest/node'

const SHOWN = 10

/** Says at the end of a run which files took longest: where a suite that grows slow is to be mended first. */
export class DearestFiles implements Reporter {
  onTestRunEnd(modules: readonly TestModule[]): void {
    const rows = modules.map((module) => ({
      path: relative(module.project.config.root, module.moduleId),
      seconds: secondsOf(module),
    }))
    const dearest = rows.sort((a, b) => b.seconds - a.seconds).slice(0, SHOWN)
    const total = rows.reduce((sum, { seconds }) => sum + seconds, 0)
    console.log(
      `\n The dearest ${dearest.length} of ${rows.length} files, of ${total.toFixed(0)} s in all (loading, preparing and testing):`,
    )
    for (const { path, seconds } of dearest) console.log(` ${seconds.toFixed(1).padStart(7)} s  ${path}`)
  }
}

function secondsOf(module: TestModule): number {
  const { collectDuration, duration, prepareDuration, setupDuration } = module.diagnostic()
  return (collectDuration + duration + prepareDuration + setupDuration) / 1000
}
