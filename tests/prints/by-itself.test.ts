import { execFile } from 'node:child_process'
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { ServiceProcess, eventually, freePort, isReady } from '../../infra/chaos/service-process.ts'
import { Desk } from '../service/desk.ts'

const run = promisify(execFile)
const TIMEOUT_MS = 120_000

describe('a service that is told where to put paper', () => {
  let folder: string
  let environment: Record<string, string>

  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'daysix-paper-'))
    const [DATA_DIR, DAYSIX_KEY] = [join(folder, 'data'), Buffer.alloc(32, 9).toString('base64')]
    environment = { DATA_DIR, DAYSIX_KEY, PORT: String(await freePort()), SWEEP_SECONDS: '1' }
  })
  afterAll(() => rm(folder, { recursive: true, force: true }))

  const base = () => `http://127.0.0.1:${environment.PORT}`
  const daysix = (...command: string[]) => {
    const { PATH, HOME } = process.env
    const env = { PATH, HOME, NODE_ENV: 'test', LOG_LEVEL: 'warn', ...environment } as unknown as NodeJS.ProcessEnv
    return run(process.execPath, ['src/cli/daysix.mjs', ...command], { env }).then(
      ({ stdout }) => ({ code: 0, stdout, stderr: '' }),
      ({ code, stdout, stderr }: { code: number; stdout: string; stderr: string }) => ({ code, stdout, stderr }),
    )
  }
  const serving = async (extra: Record<string, string>, work: () => Promise<void>) => {
    const service = new ServiceProcess({ role: 'all', environment: { ...environment, ...extra } })
    try {
      service.start()
      await eventually('it is ready', () => isReady(base()))
      await work()
    } finally {
      await service.stop()
    }
  }

  it(
    'writes it as soon as it runs, and the command writes the same while it does not',
    { timeout: TIMEOUT_MS },
    async () => {
      await serving({}, async () => {
        const desk = new Desk(base())
        await desk.clinic('pocket')
        await desk.book()
      })
      const paper = join(folder, 'paper')
      const names = () => readdir(paper).catch(() => [])
      await serving({ PRINTS_DIR: paper }, () =>
        eventually('paper is there', async () => (await names()).some((each) => each.endsWith('.html'))),
      )
      const [name] = await names()
      expect(name).toMatch(/^main\.\d{4}-\d\d-\d\dT\d\d-\d\d-\d\dZ\.html$/)
      const written = await readFile(join(paper, name!), 'utf8')
      expect(written).toContain('Harbour Clinic: paper for a day')
      expect(written).toContain('by the service, by itself')

      const { code, stdout } = await daysix('prints', '--clinic', 'main')
      expect(code).toBe(0)
      // From the first character on: nothing of a log stands in the file.
      expect(stdout).toMatch(/^<!doctype html>[\s\S]*by operator[\s\S]*<\/html>\s*$/)
      const unknown = await daysix('prints', '--clinic', 'nowhere')
      expect(unknown.code).not.toBe(0)
      expect(unknown.stdout).toBe('')
      expect(unknown.stderr).not.toMatch(/\n\s+at /)
    },
  )
})
