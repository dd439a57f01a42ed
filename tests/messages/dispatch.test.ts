import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Message } from '../../src/domain/messages/message.ts'
import { claimDue, attemptKey } from '../../src/flows/messages/claim-messages.ts'
import { newMessage } from '../../src/flows/messages/new-message.ts'
import { sweep } from '../../src/flows/messages/sweep.ts'
import type { SendJob } from '../../src/flows/ports/jobs.ts'
import type { TestWorld } from '../harness/world.ts'
import { STORES, type OpenedWorld } from '../store/stores.ts'

/** What sending relies on, whatever the database is. */
describe.each(STORES)('on $name, claims', ({ open }) => {
  let opened: OpenedWorld
  let world: TestWorld
  let people = 0

  beforeAll(async () => {
    opened = await open('2026-03-09T13:00:00Z') // 10:00 in Halifax
    world = opened.world
  })
  afterAll(() => opened.close())

  const now = () => world.clock.now()
  const stateOf = async (id: string) => (await world.deps.store.read.messages.get(id))!.state
  const alarmFor = ({ id, revision, attempt, sendAt }: Message): SendJob => ({
    messageId: id,
    revision,
    attempt,
    at: sendAt,
  })
  const claim = (alarms: SendJob[], workerId = world.deps.worker.id) =>
    world.deps.store.transact((tx) =>
      claimDue(tx, { ...world.deps, worker: { ...world.deps.worker, id: workerId, inFlight: new Set() } }, alarms, {
        keys: [],
        turns: [],
      }),
    )

  /** A patient with a visit and messages that are due now, written without the rules of planning. */
  async function dueMessages(count: number, facts: Partial<Message> = {}): Promise<Message[]> {
    const number = `782 555 01${String(people++ % 100).padStart(2, '0')}`
    const visit = `2026-03-${20 + Math.floor(people / 20)}T${String(8 + (people % 10)).padStart(2, '0')}:${String(people % 60).padStart(2, '0')}`
    const { booking, patient } = await world.book({ name: `Patient ${people}`, phone: number, visit })
    const clinic = (await world.deps.store.read.clinics.get(booking.clinicId))!
    const made = Array.from({ length: count }, () =>
      newMessage(
        world.deps,
        { booking, patient, clinic },
        {
          kind: 'day-before',
          sendAt: now(),
          notAfter: new Date(now().getTime() + 3_600_000),
          unsolicited: false,
          revision: booking.planRevision,
          state: 'queued',
          ...facts,
        },
      ),
    )
    await world.deps.store.transact((tx) => tx.messages.insert(made))
    return made
  }

  it('are made once, however many workers hear the same alarm', async () => {
    const messages = await dueMessages(5)
    const alarms = messages.map(alarmFor)
    const results = await Promise.all(
      Array.from({ length: 8 }, (_, worker) =>
        claim(
          [...alarms].sort(() => (worker % 2 ? 1 : -1)),
          `w_${worker}`,
        ),
      ),
    )
    for (const message of messages) {
      const winners = results.filter((claims) =>
        claims.some((each) => each.kind === 'go' && each.claimed.message.id === message.id),
      )
      expect(winners).toHaveLength(1)
      expect(await world.deps.store.read.messages.get(message.id)).toMatchObject({ state: 'sending', attempt: 1 })
    }
    const sealed = (await world.deps.store.read.messages.get(messages[0]!.id))!
    expect(sealed.text).toContain(CLINIC_NAME) // the words were kept before they leave
  })

  it('go to one of two alarms that ring for the same message in the same batch', async () => {
    const [message] = await dueMessages(1)
    const claims = await claim([alarmFor(message!), { ...alarmFor(message!), requeued: true }])
    expect(claims.map(({ kind }) => kind)).toEqual(['go', 'nothing'])
  })

  it('respect the cap on one number also when two workers claim at the same moment', async () => {
    const messages = await dueMessages(4, { unsolicited: true })
    const results = await Promise.all(messages.map((message, index) => claim([alarmFor(message)], `w_cap${index}`)))
    expect(results.flat().filter(({ kind }) => kind === 'go')).toHaveLength(1)
    expect(results.flat().filter(({ kind }) => kind === 'later' || kind === 'nothing')).toHaveLength(3)
  })

  it('respect the cap also within one batch', async () => {
    const messages = await dueMessages(3, { unsolicited: true })
    const claims = await claim(messages.map(alarmFor))
    // tomorrow would be too late for them
    expect(claims.map(({ kind }) => kind).sort()).toEqual(['go', 'nothing', 'nothing'])
  })

  it('know of a STOP that was written down before them', async () => {
    const [message] = await dueMessages(1)
    let claiming: ReturnType<typeof claim> | undefined
    await world.deps.store.transact(async (tx) => {
      await tx.optOuts.add(message!.phone, 'stop', now())
      claiming = claim([alarmFor(message!)]) // while the STOP is being written down
      await tx.messages.withdrawUnsent({ phone: message!.phone }, 'opted-out', now())
    })
    const [result] = await claiming!
    expect(result!.kind).toBe('nothing')
    expect(await stateOf(message!.id)).toBe('withdrawn')
  })

  it('find nothing to do for an older plan, or before the time', async () => {
    const [old, early] = await dueMessages(2)
    expect((await claim([{ ...alarmFor(old!), revision: old!.revision! - 1 }]))[0]!.kind).toBe('nothing')
    await world.deps.store.transact((tx) =>
      tx.messages.move(early!.id, ['queued'], 'queued', { sendAt: new Date(now().getTime() + 60_000) }),
    )
    expect((await claim([alarmFor(early!)]))[0]!.kind).toBe('nothing')
    expect(await stateOf(early!.id)).toBe('queued')
  })

  it('belong to their worker while it lives, and are looked after when it is gone', async () => {
    const [message] = await dueMessages(1)
    await world.deps.store.read.workers.beat('w_mortal')
    await claim([alarmFor(message!)], 'w_mortal')
    await sweep(world.deps)
    expect(await stateOf(message!.id)).toBe('sending')
    await world.deps.store.read.workers.leave('w_mortal')
    await sweep(world.deps)
    // The network was asked and had never seen it: it goes out again.
    expect(await world.deps.store.read.messages.get(message!.id)).toMatchObject({ state: 'queued', code: 'claim-lost' })
  })

  it('of the own process that were never handed over are put back, those in its hands are not', async () => {
    const [lost, held] = await dueMessages(2)
    await claim([alarmFor(lost!), alarmFor(held!)])
    world.deps.worker.inFlight.add(attemptKey({ id: held!.id, attempt: 1 }))
    await sweep(world.deps)
    expect(await stateOf(lost!.id)).toBe('queued')
    expect(await stateOf(held!.id)).toBe('sending')
    world.deps.worker.inFlight.delete(attemptKey({ id: held!.id, attempt: 1 }))
  })

  it('are recorded as accepted only for that very attempt', async () => {
    const [message] = await dueMessages(1)
    await claim([alarmFor(message!)])
    const accept = (attempt: number) =>
      world.deps.store.transact((tx) => tx.dispatch.accept([{ id: message!.id, attempt, ref: 'r-1' }], now()))
    expect(await accept(2)).toEqual([])
    expect(await stateOf(message!.id)).toBe('sending')
    expect(await accept(1)).toEqual([message!.id])
    expect(await world.deps.store.read.messages.get(message!.id)).toMatchObject({ state: 'sent', gatewayRef: 'r-1' })
  })

  it('keep a delivery receipt that was quicker than the record of the acceptance', async () => {
    const { takeReceipt } = await import('../../src/flows/messages/take-receipt.ts')
    const [message] = await dueMessages(1)
    await claim([alarmFor(message!)])
    await takeReceipt(world.deps, { gateway: 'pocket', messageId: message!.id, state: 'delivered', at: now() })
    await world.deps.store.transact((tx) => tx.dispatch.accept([{ id: message!.id, attempt: 1, ref: 'r-2' }], now()))
    expect(await world.deps.store.read.messages.get(message!.id)).toMatchObject({
      state: 'delivered',
      gatewayRef: 'r-2',
      sentAt: now(),
    })
  })

  it('match a receipt whose record crossed with that of its reference', async () => {
    const [message] = await dueMessages(1)
    await claim([alarmFor(message!)])
    await world.deps.store.transact((tx) => tx.dispatch.accept([{ id: message!.id, attempt: 1, ref: 'r-3' }], now()))
    await world.deps.store.transact((tx) =>
      tx.messages.keepEarlyReceipt({ gateway: 'pocket', ref: 'r-3', state: 'delivered', at: now() }),
    )
    await sweep(world.deps)
    expect(await stateOf(message!.id)).toBe('delivered')
  })
})

const CLINIC_NAME = 'Harbour Clinic'
