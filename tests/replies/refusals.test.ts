import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { Conversations } from './conversations.ts'

// STOP, wrong number, death: they end what is sent, and whom nobody tells any more a person calls.
// Carrier words: 47 CFR 64.1200(a)(10). The rest is the product's own promise, no source.
let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
})
beforeEach(() => at.begin())
afterAll(() => at.world.close())

const DIED = 'This is her daughter. She passed away last week.'
const refusal = async () => (await at.deps.store.read.optOuts.get(at.phone))?.reason
/** A visit of which the patient has been told all there is to tell. */
async function toldVisit() {
  const visit = await at.book(`${at.day(3)}T10:00`)
  await at.pass(48)
  return visit
}

describe('told while the only visit has begun', () => {
  it.each([
    ['died', DIED],
    ['wrong-person', 'wrong number'],
  ])('%s reaches a person, once', async (reason, text) => {
    const visit = await at.book(`${at.day(1)}T10:00`)
    await at.pass(26)
    await at.write(text)
    await at.write(text)
    expect((await at.words(visit)).filter(([each]) => each === reason)).toEqual([[reason, text]])
  })
})

describe('STOP with news in it', () => {
  it.each([
    'Please stop texting me, I used a cream last night',
    'please stop texting me, my period started today',
    'please stop texting me, is a bath ok?',
  ])('reaches a person although the patient was told before: %s', async (text) => {
    const visit = await toldVisit()
    await at.write(text)
    expect(await at.words(visit)).toEqual([['unclear-reply', text]])
  })

  it('a plain one does not', async () => {
    await toldVisit()
    await at.write('stop, thanks')
    expect(await refusal()).toBe('stop')
    expect(await at.reasons()).toEqual([])
  })
})

describe('a number that is said not to be the patient’s', () => {
  it.each(['wrong number', 'Wrong number, please stop texting me'])(
    'is not revived by START at any clinic: %s',
    async (text) => {
      const visits = [
        await at.book(`${at.day(10)}T10:00`),
        await at.book(`${at.day(12)}T10:00`, { clinic: await at.anotherClinic() }),
      ]
      await at.write(text)
      const start = await at.write('START')
      expect(await refusal()).toBe('wrong-person')
      for (const visit of visits) {
        expect(await at.reasons(visit)).toContain('wrong-person')
        expect(await at.kinds(visit, 'planned')).toEqual([])
      }
      const opened = await at.deps.store.read.followUps.list({
        replyId: start.id,
        open: true,
        limit: 10,
      })
      expect(opened.map(({ reason, detail }) => [reason, detail.words])).toEqual([['unclear-reply', 'START']])
    },
  )

  it('is not revived though there was a STOP before', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    for (const text of ['STOP', 'wrong number', 'START']) await at.write(text)
    expect(await refusal()).toBe('wrong-person')
    expect(await at.kinds(visit, 'planned')).toEqual([])
  })

  it('is written to again once a person has found that it is the patient’s, and asked for consent', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    await at.correct(await at.write('wrong number'), 'unclear')
    expect(await refusal()).toBeUndefined()
    expect(await at.reasons(visit)).not.toContain('wrong-person')
    expect(await at.reasons(visit)).toContain('no-consent')
    expect(await at.kinds(visit, 'planned')).toEqual([])
    await at.amend(visit, { consent: { recordedBy: 'desk' } })
    expect(await at.reasons(visit)).not.toContain('no-consent')
    expect(await at.kinds(visit, 'planned')).toContain('prep')
  })
})

describe('when what should follow fails', () => {
  // A protocol that cannot be read is a fault that every flow about the visit stumbles over.
  const BROKEN = new Proxy(
    {},
    {
      get: () => {
        throw new Error('broken')
      },
    },
  )
  const ID = 'liquid-based-cytology'
  const protocols = () => at.deps.protocols as Map<string, unknown>
  let protocol: unknown
  beforeAll(() => {
    protocol = protocols().get(ID)
  })
  afterEach(() => protocols().set(ID, protocol))

  async function writeInVain(text: string) {
    protocols().set(ID, BROKEN)
    const reply = await at.write(text)
    protocols().set(ID, protocol)
    expect(reply.done).toBe('failed')
    return reply
  }

  it.each([
    ['STOP', 'opted-out', 'stop'],
    ['wrong number', 'wrong-person', 'wrong-person'],
  ] as const)('%s holds, and every visit is on the call list, at every clinic', async (text, reason, why) => {
    const there = { clinic: await at.anotherClinic(), protocol: 'clinician-hpv' }
    const visits = [await at.book(`${at.day(3)}T10:00`), await at.book(`${at.day(4)}T10:00`, there)]
    await at.pass(1)
    await writeInVain(text)
    expect(await refusal()).toBe(why)
    for (const visit of visits) expect(await at.reasons(visit)).toContain(reason)
    const before = at.world.textsTo(at.phone)
    await at.pass(72)
    expect(at.world.textsTo(at.phone)).toEqual(before)
  })

  it('nothing more goes to whoever has died, until a person reads it otherwise', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    const reply = await writeInVain(DIED)
    expect(await at.reasons(visit)).toContain('died')
    expect((await at.patient(visit)).reportedDead).toBe(true)
    await at.correct(reply, 'thanks')
    expect((await at.patient(visit)).reportedDead).toBeFalsy()
    expect(await at.reasons(visit)).toEqual([])
  })

  it('an alarm is at the top of the call list', async () => {
    const visit = await at.book(`${at.day(10)}T10:00`)
    await writeInVain('Stop texting me. I fainted and I am soaking a pad every hour')
    expect(await at.reasons(visit)).toContain('alarm')
  })

  it('the words are shown only to the clinic that they were written to', async () => {
    const other = await at.anotherClinic()
    await at.book(`${at.day(10)}T10:00`)
    await at.book(`${at.day(11)}T10:00`, { name: 'Eve Fenwick' })
    await writeInVain('please stop texting me SECRET')
    expect(JSON.stringify(await at.calls())).toMatch(/SECRET/)
    const seen = await at.deps.store.read.followUps.list({
      clinicId: other,
      unplacedToo: true,
      limit: 100,
    })
    expect(JSON.stringify(seen)).not.toMatch(/SECRET/)
  })
})
