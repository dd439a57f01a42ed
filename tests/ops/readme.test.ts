import { execFileSync, spawn, spawnSync, type ChildProcess } from 'node:child_process'
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { ROOT } from '../architecture/sources.ts'

// What README.md tells a newcomer to type is typed. The two commands at its top are what continuous integration runs.
const readme = readFileSync(join(ROOT, 'README.md'), 'utf8')
const blocks = [...readme.matchAll(/```\n([\s\S]*?)```/g)].map(([, block]) => block!)
const lines = blocks.flatMap((block) => block.split(/\n(?=\S)/)).map((line) => line.replace(/ {2,}#.*/, '').trim())
const commands = lines.filter((line) => /^(npm|npx|node|curl)\b/.test(line))

const TRIED = [
  /^npm ci && npm run demo$/,
  /^npm ci && npm test$/,
  /^npx daysix serve$/,
  /^npx daysix forecast --help$/,
  // Tried in tests/schedule/feed-check.test.ts.
  /^npx daysix feed-check demo\/schedule\/skerry.yaml demo\/schedule\/week.hl7$/,
  /^curl /,
]

describe('README.md', () => {
  let folder: string
  let service: ChildProcess
  let base: string
  let said = ''

  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'daysix-readme-'))
    const env = { PATH: process.env.PATH, PORT: '0', DATA_DIR: folder, LOG_LEVEL: 'info' }
    service = spawn('npx', ['daysix', 'serve'], { cwd: ROOT, env, detached: true })
    for (const stream of [service.stdout!, service.stderr!])
      stream.on('data', (chunk: Buffer) => (said += String(chunk)))
    await vi.waitFor(() => expect(said).toMatch(/http:\/\/127\.0\.0\.1:\d+/), 60_000)
    base = /http:\/\/(127\.0\.0\.1:\d+)/.exec(said)![1]!
  })
  afterAll(() => {
    if (service?.pid) process.kill(-service.pid, 'SIGKILL')
    rmSync(folder, { recursive: true, force: true })
  })

  it('opens with what the job is', () => {
    const [, , first] = readme.split('\n')
    expect(first!.length).toBeGreaterThan(400)
    expect(first).toMatch(/educator and front desk must get patients to a cervical specimen visit/)
  })

  it('has no command that is not tried here', () => {
    expect(commands.length).toBeGreaterThanOrEqual(TRIED.length)
    expect(commands.filter((command) => !TRIED.some((tried) => tried.test(command)))).toEqual([])
  })

  it('books a visit by the request that it shows', () => {
    const request = commands.find((command) => command.startsWith('curl '))!
    const answer = execFileSync('bash', ['-c', request.replace('curl ', 'curl -sS ').replace('localhost:8460', base)])
    expect(JSON.parse(answer.toString())).toMatchObject({ booking: { state: 'booked' }, timing: {}, plan: {} })
  })

  it('lets the administrator choose a first password by the code that it prints', async () => {
    await vi.waitFor(() => expect(said).toMatch(/one-time code/), 30_000)
    const code = /one-time code (\S+)/.exec(said)![1]!
    const password = 'wet otters climb stairs'
    const chosen = await fetch(`http://${base}/sign-in/first`, {
      method: 'POST',
      redirect: 'manual',
      headers: { Origin: `http://${base}` },
      body: new URLSearchParams({ code, password, again: password }),
    })
    expect(chosen.status).toBe(303)
    expect(chosen.headers.get('location')).toBe('/settings')
  })

  it('names commands that exist', () => {
    const [, also] = /# also: (.*?): JSON lines/.exec(readme)!
    for (const name of ['forecast', ...also!.split(', ')]) {
      const { status, stdout } = spawnSync('npx', ['daysix', name, '--help'], { cwd: ROOT, encoding: 'utf8' })
      expect(status, name).toBe(0)
      expect(stdout).toContain(`daysix ${name}`)
    }
  })

  it('shows pictures that are there', () => {
    const pictures = [...readme.matchAll(/!\[[^\]]+\]\(([^)]+)\)/g)].map(([, path]) => path!)
    expect(pictures.length).toBeGreaterThanOrEqual(2)
    for (const path of pictures) expect(existsSync(join(ROOT, path)), path).toBe(true)
  })
})
