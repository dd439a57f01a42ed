import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { Conversations } from './conversations.ts'

// How often Daysix answers by itself is its own limit, no source; beyond it a person answers.
let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
})
beforeEach(() => at.begin())
afterAll(() => at.world.close())

const BATH = 'Is a bath ok?'
async function askTillSilent(): Promise<void> {
  for (let n = 0; n < at.deps.policy.answersADay; n++) await at.write(BATH)
  expect(await at.words()).toEqual([])
}

describe('more questions on one day than Daysix answers by itself', () => {
  it('go on the call list, each with its words', async () => {
    await at.book(`${at.day(10)}T10:00`)
    await askTillSilent()
    await at.write('Is a bath ok on Sunday?')
    expect(await at.words()).toEqual([['prep-question', 'Is a bath ok on Sunday?']])
    await at.write('who is this?')
    expect(await at.words()).toContainEqual(['unclear-reply', 'who is this?'])
  })

  it('are counted for each clinic by itself', async () => {
    await at.book(`${at.day(10)}T10:00`)
    await askTillSilent()
    const visit = await at.book(`${at.day(11)}T10:00`, { clinic: await at.anotherClinic() })
    await at.pass(1)
    await at.write(BATH)
    expect(await at.kinds(visit, 'delivered')).toContain('answer')
  })
})

describe('a patient who does not know the day', () => {
  it('is asked for it once; then a person sees to it', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`, { cycle: at.cycling(35) })
    await at.write('my period started last week')
    await at.write("I don't remember")
    await at.write('no idea')
    await at.pass(1)
    const asked = (await at.kinds(visit, 'delivered')).filter((kind) => kind === 'lmp-question')
    expect(asked).toEqual(['lmp-question'])
    expect((await at.words()).map(([reason]) => reason)).toContain('unclear-reply')
  })
})
