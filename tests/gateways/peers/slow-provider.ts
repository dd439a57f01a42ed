import { vi } from 'vitest'
import { SOON } from '../../harness/patience.ts'
import { Program } from './programs.ts'

/** Answers each request after a while, and says how many it had before it at once. */
const SCRIPT = `
  let open = 0
  const server = require('node:http').createServer((request, response) => {
    console.log('open', ++open)
    setTimeout(() => (open--, response.end('ok')), Number(process.argv[1]))
  })
  server.listen(0, '127.0.0.1', () => console.log('port', server.address().port))
`

/** A provider that is slow and well, in a process of its own: that of the test may stand still. */
export class SlowProvider {
  readonly #program: Program

  private constructor(program: Program) {
    this.#program = program
  }

  static async start(answerMs: number): Promise<SlowProvider> {
    const provider = new SlowProvider(new Program(process.execPath, ['-e', SCRIPT, String(answerMs)]))
    await vi.waitUntil(() => provider.#said('port').length > 0, SOON)
    return provider
  }

  get port(): number {
    return this.#said('port')[0]!
  }

  /** For each request, how many were open when it came. */
  get open(): number[] {
    return this.#said('open')
  }

  stop(): Promise<void> {
    return this.#program.stop()
  }

  #said(word: string): number[] {
    return this.#program.lines.filter((line) => line.startsWith(`${word} `)).map((line) => Number(line.split(' ')[1]))
  }
}
