import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { disable } from '../../src/adapters/sign-in/people.ts'
import { TestWorld } from '../harness/world.ts'
import { BY, PASSWORD, accessDeps, cookieOf, hire, serveClosed, type Served } from './signed-in.ts'

const NEW_PASSWORD = 'brisk otter lantern wharf'

describe('the stream of news', () => {
  let world: TestWorld
  let served: Served
  let count = 0

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    served = await serveClosed(world)
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  const someone = () => hire(world, { login: `listener-${++count}`, role: 'desk', clinicId: 'harbour' })
  const listen = (headers: Record<string, string>, signal?: AbortSignal) =>
    fetch(`${served.base}/desk/events`, {
      headers: { ...headers, Accept: 'text/event-stream' },
      signal: signal ?? null,
    })

  it.each([
    ['signing out', (headers: Record<string, string>) => served.ask('/sign-out', { form: {}, headers })],
    [
      'a new password',
      (headers: Record<string, string>) =>
        served.ask('/account/password', {
          form: { old: PASSWORD, password: NEW_PASSWORD, again: NEW_PASSWORD },
          headers,
        }),
    ],
    ['being shut out', (_headers: Record<string, string>, login: string) => disable(accessDeps(world), login, BY)],
    ['time', () => world.clock.moveTo(new Date(world.clock.now().getTime() + 31 * 60_000))],
  ])('ends with %s, and tells nothing more', async (_how, end) => {
    const { id, login } = await someone()
    const headers = await cookieOf(world, id)
    const stream = await listen(headers)
    expect(stream.status).toBe(200)
    await end(headers, login)
    world.composed.news.tell('visit-booked', {})
    // Ends by itself: without that this would wait for ever.
    expect(await stream.text()).toBe('retry: 3000\n\n')
  })

  it('goes on while somebody is signed in', async () => {
    const { id } = await someone()
    const leave = new AbortController()
    const stream = await listen(await cookieOf(world, id), leave.signal)
    const reader = stream.body!.pipeThrough(new TextDecoderStream()).getReader()
    world.composed.news.tell('visit-booked', {})
    let heard = ''
    while (!heard.includes('changed')) heard += (await reader.read()).value
    expect(heard).toContain('event: news')
    leave.abort()
  })

  it('is open eight times at most for one person', async () => {
    const { id } = await someone()
    const headers = await cookieOf(world, id)
    const leave = new AbortController()
    const opened = await Promise.all(Array.from({ length: 12 }, () => listen(headers, leave.signal)))
    expect(opened.filter(({ status }) => status === 200)).toHaveLength(8)
    expect(opened.filter(({ status }) => status === 429)).toHaveLength(4)
    leave.abort()
  })
})
