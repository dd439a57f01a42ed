import { spawn } from 'node:child_process'
import { expect } from 'vitest'
import { ROOT } from '../architecture/sources.ts'

export interface Ended {
  code: number | null
  stderr: string
  stdout: string
}

/** The real program, until it ends; what does not end by itself is stopped, and has no code. */
export function daysix(args: string[], environment: Record<string, string>, forMs = 60_000): Promise<Ended> {
  return new Promise((done) => {
    const { PATH, HOME } = process.env
    const child = spawn(process.execPath, ['src/cli/daysix.mjs', ...args], {
      cwd: ROOT,
      env: { PATH, HOME, NODE_ENV: 'test', ...environment } as unknown as NodeJS.ProcessEnv,
      stdio: ['ignore', 'pipe', 'pipe'],
    })
    const said = { stderr: '', stdout: '' }
    child.stderr.on('data', (chunk: Buffer) => (said.stderr += chunk.toString()))
    child.stdout.on('data', (chunk: Buffer) => (said.stdout += chunk.toString()))
    const timer = setTimeout(() => child.kill('SIGKILL'), forMs)
    child.once('close', (code) => (clearTimeout(timer), done({ code, ...said })))
  })
}

/** A trace names files and lines of code. */
export const TRACE = /^\s+at |\.[mt]s:\d+/m

export function expectPlain({ code, stderr }: Ended, status: number, words: (string | RegExp)[]): void {
  for (const each of words) expect(stderr).toMatch(each)
  expect(code, stderr).toBe(status)
  expect(stderr).not.toMatch(TRACE)
  expect(stderr.trim().split('\n').length).toBeLessThan(12)
}
