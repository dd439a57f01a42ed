import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { CLINIC, TestWorld } from '../harness/world.ts'
import { serveApi } from '../harness/api.ts'
import { DESK, NOW, pageText, postForm } from './reception.ts'

// Invented people; numbers reserved for fiction (NANPA 555-01xx).
let world: TestWorld
let api: Awaited<ReturnType<typeof serveApi>>
let count = 0
beforeAll(async () => {
  world = await TestWorld.create(NOW)
  api = await serveApi(world)
})
afterAll(async () => {
  await api.close()
  await world.close()
})

async function bookWith(sure: string, lmp = ''): Promise<string> {
  count++
  const answer = await postForm(api.base, `${DESK}/book`, {
    phone: `782 555 01${20 + count}`,
    name: `Nobody ${count}`,
    lmp,
    sure,
    usual: '',
    date: '2026-03-25',
    time: `10:${10 + count}`,
    clinician: `room ${count}`,
    protocol: 'liquid-based-cytology',
    language: 'en',
    channel: 'sms',
    detail: 'full',
    consent: 'yes',
    key: `form-of-nobody-${count}`,
  })
  expect(answer.status).toBe(303)
  return /visits\/([^?]+)/.exec(answer.headers.get('location')!)![1]!
}

const cycleOf = async (id: string) => {
  const { patientId } = (await world.deps.store.read.bookings.get(id))!
  return (await world.deps.store.read.patients.get(patientId))!.cycle
}

describe('a patient without cycles, at the desk', () => {
  it.each([
    ['pregnant', { status: 'pregnant' }, /pregnant Preparation.*Ask a clinician first/],
    ['no-periods', { status: 'no-periods' }, /no periods Preparation.*any day will do/],
    [
      'no-periods/breast-feeding',
      { status: 'no-periods', because: 'breast-feeding' },
      /no periods \(breast-feeding\).*tell you if one does/,
    ],
    [
      'no-periods/cervix-removed',
      { status: 'no-periods', because: 'cervix-removed' },
      /no periods \(cervix removed\).*whether a specimen is wanted/,
    ],
  ])('is booked as "%s", and the visit says what follows', async (sure, cycle, words) => {
    const id = await bookWith(sure)
    expect(await cycleOf(id)).toEqual(cycle)
    expect(await pageText(api.base, `${DESK}/visits/${id}`)).toMatch(words)
  })

  it('may be pregnant where no period has come for long: the desk reads that, and books all the same', async () => {
    const fields = { lmp: '2026-01-20', sure: '0', protocol: 'liquid-based-cytology' }
    const look = await postForm(api.base, `${DESK}/book/look`, fields)
    expect(await look.text()).toContain('whether the patient may be pregnant')
    const id = await bookWith('0', '2026-01-20')
    expect(await pageText(api.base, `${DESK}/visits/${id}`)).toContain('whether the patient may be pregnant')
  })

  it('may be corrected to, and back to a date', async () => {
    const id = await bookWith('unknown')
    const path = `${DESK}/visits/${id}/period`
    await postForm(api.base, path, { lmp: '', instead: 'pregnant' })
    expect(await cycleOf(id)).toEqual({ status: 'pregnant' })
    expect(await pageText(api.base, `/desk/${CLINIC.id}/calls`)).toContain('Whether to collect')
    await postForm(api.base, path, { lmp: '2026-03-02', instead: '' })
    expect(await cycleOf(id)).toMatchObject({ status: 'cycling', lmp: '2026-03-02' })
    expect((await postForm(api.base, path, { lmp: '', instead: '' })).status).toBe(422)
  })
})
