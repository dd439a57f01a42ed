import { spawn, spawnSync, type ChildProcess } from 'node:child_process'
import { DateTime } from 'luxon'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { STORY_DAYS, ZONE, morningOf } from '../../demo/scenario.ts'
import { ROOT } from '../architecture/sources.ts'

// The demo as somebody starts it. Own rules, no source: what a newcomer should find within the first minutes.
const DEMO = 'demo/demo.mjs'
const run = (...args: string[]) => spawnSync(process.execPath, [DEMO, ...args], { cwd: ROOT, encoding: 'utf8' })

describe('the options of the demo', () => {
  it('are described', () => {
    const { status, stdout } = run('--help')
    expect(status).toBe(0)
    for (const option of ['--headless', '--port', '--lang']) expect(stdout).toContain(option)
  })

  it.each([
    [['--port', 'eighty'], 'from 0 to 65535'],
    [['--lang', 'xx'], 'Allowed choices are en, fr, es, uk, pa'],
  ])('%j is refused in words', (args, words) => {
    const { status, stderr } = run(...args)
    expect(status).not.toBe(0)
    expect(stderr).toContain(words)
  })
})

describe('the morning of the demo', () => {
  it.each([
    ['2026-11-26T20:00:00Z', '2026-11-26T09:40'],
    ['2026-11-28T12:00:00Z', '2026-11-30T09:40'],
    ['2026-11-29T23:00:00Z', '2026-11-30T09:40'],
  ])('seen from %s is %s, a working day', (now, morning) => {
    expect(morningOf(new Date(now)).toFormat("yyyy-MM-dd'T'HH:mm")).toBe(morning)
  })

  it('comes some weeks after the story began', () => expect(STORY_DAYS).toBe(28))
})

describe('the demo for a person', () => {
  let demo: ChildProcess
  let base: string
  const page = async (path: string) => {
    const answer = await fetch(base + path)
    expect(answer.status, path).toBe(200)
    return answer.text()
  }
  const post = (path: string, form: Record<string, string>) =>
    fetch(base + path, {
      method: 'POST',
      headers: { Origin: base },
      body: new URLSearchParams(form),
      redirect: 'manual',
    })
  const clock = async () => /It is <b>([^<]+)<\/b>/.exec(await page('/'))![1]!
  const settled = () => expect.poll(() => page('/'), { timeout: 150_000, interval: 500 }).toContain('time goes on')

  beforeAll(async () => {
    demo = spawn(process.execPath, [DEMO, '--port', '0'], { cwd: ROOT, stdio: ['ignore', 'pipe', 'inherit'] })
    let said = ''
    demo.stdout!.on('data', (chunk: Buffer) => (said += chunk.toString()))
    await vi.waitFor(() => expect(said).toMatch(/start at (http\S+)\//), 60_000)
    base = /start at (http\S+)\//.exec(said)![1]!
  })
  afterAll(() => void demo?.kill('SIGKILL'))

  it('has its first page at once, and fills in what was before while it is read', async () => {
    expect(await page('/')).toContain('Start here')
    expect(await page('/desk/tidewrack/bookings')).toContain('Tidewrack Clinic')
    await settled()
    expect(await clock()).toBe(morningOf(new Date()).toFormat('cccc d LLLL yyyy, HH:mm'))
  })

  it('finds a full list, an alarm, words to read, a move to approve and an open offer', async () => {
    expect(await page('/desk/tidewrack/day-sheet')).toMatch(/1\d visits\./)
    const calls = await page('/desk/tidewrack/calls')
    expect(calls).toContain('Alarming words')
    expect(calls).toContain('call 911')
    expect(await page('/desk/gullholm/calls')).toContain('Move to approve')
    expect(await page('/desk/tidewrack/replies')).toContain('bakery')
    const phone = /href="(\/phones\/[^"]+)">Be /.exec(await page('/'))![1]!
    expect(await page(phone)).toMatch(/1: [\s\S]*2: /)
  })

  it('has phones by clinic with the next visit, and does as somebody writes on one', async () => {
    const start = await page('/')
    const phone = /href="(\/phones\/[^"]+)">Be /.exec(start)![1]!
    expect(await page('/phones')).toMatch(/<h2>Gullholm Health Post<\/h2>[\s\S]*Visit \w{3} \d+ \w{3}/)
    expect((await post(phone, { text: '2' })).status).toBe(303)
    await expect.poll(() => page(phone), { timeout: 20_000 }).toContain('Your visit is now on')
  })

  it('moves time when told to', async () => {
    const before = DateTime.fromFormat(await clock(), 'cccc d LLLL yyyy, HH:mm', { zone: ZONE })
    await post('/demo/time', { by: 'morning' })
    await settled()
    const after = DateTime.fromFormat(await clock(), 'cccc d LLLL yyyy, HH:mm', { zone: ZONE })
    expect(after.hour).toBe(9)
    expect(after.weekday).toBeLessThan(6)
    expect(after > before).toBe(true)
  })

  it('stops when it is asked to', async () => {
    const stopped = new Promise((resolve) => demo.once('exit', resolve))
    demo.kill('SIGINT')
    expect(await stopped).toBe(0)
  })
})
