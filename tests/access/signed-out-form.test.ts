import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { TestWorld } from '../harness/world.ts'
import { PASSWORD, hire, serveClosed, type Served } from './signed-in.ts'

// A session ends while somebody types. Own rule: nothing that was typed is lost. Invented people.
describe('a form that comes when the session has ended', () => {
  let world: TestWorld
  let served: Served
  const form = { name: 'Ada <Fenwick> "A"', phone: '782 555 0101', lmp: '' }

  beforeAll(async () => {
    world = await TestWorld.create('2026-03-09T13:00:00Z')
    served = await serveClosed(world)
    await hire(world, { login: 'clerk', role: 'desk', clinicId: 'harbour' })
  })
  afterAll(async () => {
    await served.close()
    await world.close()
  })

  const hidden = (page: string) =>
    Object.fromEntries(
      [...page.matchAll(/<input type="hidden" name="([^"]*)" value="([^"]*)">/g)].map(([, name, value]) => [
        name!,
        plain(value!),
      ]),
    )
  const plain = (text: string) =>
    text
      .replaceAll('&quot;', '"')
      .replaceAll('&#39;', "'")
      .replaceAll('&lt;', '<')
      .replaceAll('&gt;', '>')
      .replaceAll('&amp;', '&')

  it('is kept on the sign-in page, and goes on as it was typed after signing in', async () => {
    const refused = await served.ask('/desk/harbour/book', { form })
    expect(refused.status).toBe(401)
    const page = refused.text
    expect(page).toContain('What you typed is kept')
    const { carried } = hidden(page)
    const wrong = await served.ask('/sign-in', {
      form: { login: 'clerk', password: 'not it', code: '', to: '', carried: carried! },
    })
    expect(hidden(wrong.text).carried).toBe(carried)
    const entered = await served.ask('/sign-in', {
      form: { login: 'clerk', password: PASSWORD, code: '', to: '', carried: carried! },
    })
    expect(entered.status).toBe(200)
    const goOn = entered.text
    expect(goOn).toContain('action="/desk/harbour/book"')
    expect(hidden(goOn)).toEqual(form)
    const cookie = { Cookie: entered.headers.get('set-cookie')!.split(';')[0]! }
    const again = await served.ask('/desk/harbour/book', { form: hidden(goOn), headers: cookie })
    expect(again.text).toContain('Ada &lt;Fenwick&gt;')
  })

  it.each([
    ['https://elsewhere.example/x'],
    ['//elsewhere.example/x'],
    ['/api/v1/people'],
    ['/desk/../api/v1/people//'],
    ['javascript:alert(1)'],
  ])('leads nowhere but to pages of the desk: %s', async (to) => {
    const carried = JSON.stringify({ to, fields: [['a', 'b']] })
    const entered = await served.ask('/sign-in', {
      form: { login: 'clerk', password: PASSWORD, code: '', to: '', carried },
    })
    expect(entered.status).toBe(303)
  })

  it('of another site is refused, not kept', async () => {
    const answer = await served.ask('/desk/harbour/book', { form, headers: { Origin: 'https://elsewhere.example' } })
    expect(answer.status).toBe(401)
    expect(answer.text).not.toContain('carried')
  })
})
