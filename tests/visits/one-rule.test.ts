import { spawnSync } from 'node:child_process'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { CycleHistory } from '../../src/domain/preparation/cycle/history.ts'
import { dateIn, toInstant } from '../../src/domain/local-time.ts'
import { orNotFound, loadVisit } from '../../src/flows/lookups.ts'
import { addOpenings } from '../../src/flows/visits/manage-openings.ts'
import { judgeBooking } from '../../src/flows/visits/judge-booking.ts'
import { previewVisit } from '../../src/flows/visits/preview-visit.ts'
import { chanceFrom } from '../preparation/cycle/simulated-patients.ts'
import { CLINIC } from '../harness/world.ts'
import { Conversations } from '../replies/conversations.ts'

// The same facts, asked in every way there is: command, preview at the desk, booking, reply. Facts by chance from a seed.
const SEED = 11
const CASES = 40
const DAYSIX = new URL('../../src/cli/daysix.mjs', import.meta.url).pathname

const chance = chanceFrom(SEED)
const between = (least: number, most: number) => least + Math.floor(chance() * (most - least + 1))

interface Facts {
  cycle: CycleHistory
  visit: string
  openings: string[]
}

let at: Conversations
beforeAll(async () => {
  at = await Conversations.open()
  await at.begin()
})
afterAll(() => at.world.close())

const instant = (local: string) => toInstant(local, CLINIC.zone, 'visit')

function draw(): Facts {
  const past = chance() < 0.5 ? {} : { pastCycleDays: [between(24, 33), between(24, 33), between(24, 33)] }
  const cycle = { status: 'cycling', lmp: at.day(-between(1, 25)), usualCycleDays: between(24, 34), toldOn: at.day(0) }
  const days = new Set(Array.from({ length: between(0, 8) }, () => between(7, 60)))
  return {
    cycle: { ...cycle, ...past } as CycleHistory,
    visit: `${at.day(between(7, 45))}T10:00`,
    openings: [...days].map((day) => `${at.day(day)}T09:00`),
  }
}

/** What `daysix suggest` says of all of them. */
function suggested(all: Facts[], now: string, zone: string) {
  const lines = all.map(({ cycle: { status: _status, ...cycle }, visit, openings }, id) =>
    JSON.stringify({ id, ...cycle, now, booked: visit, zone, openings }),
  )
  const { stdout } = spawnSync(process.execPath, [DAYSIX, 'suggest'], { input: lines.join('\n'), encoding: 'utf8' })
  return stdout
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as { keep: boolean; why: string; ranked: { at: string }[] })
}

describe('the rule of moving', () => {
  it('says the same to the command, to the desk, at the booking and to the patient', { timeout: 120_000 }, async () => {
    const { deps } = at.world
    const all = Array.from({ length: CASES }, draw)
    const clinic = orNotFound(await deps.store.read.clinics.get(at.clinic), 'clinic')
    const commands = suggested(all, deps.clock.now().toISOString(), clinic.zone)
    const seen = new Set<string>()
    for (const [index, { cycle, visit, openings }] of all.entries()) {
      const clinicId = await at.anotherClinic()
      if (openings.length > 0) await addOpenings(deps, { clinic: clinicId, at: openings })
      const phone = at.anotherPhone()
      const there = orNotFound(await deps.store.read.clinics.get(clinicId), 'clinic')
      const patient = {
        clinicId,
        name: 'Ada Fenwick',
        phone,
        language: 'en',
        cycle,
      } as const
      const preview = await previewVisit(deps, {
        ...{ clinic: there, clinician: '', protocol: 'liquid-based-cytology', zone: there.zone, patient },
        visitAt: instant(visit),
        ...{ reach: {}, agrees: { until: null } },
      })
      const booked = await at.world.book({ clinic: clinicId, phone, visit, cycle })
      const command = commands[index]!
      const where = JSON.stringify({ cycle, visit, openings, today: dateIn(deps.clock.now(), there.zone) })
      for (const { judgement } of [preview, booked])
        expect([judgement.keep, judgement.why], where).toEqual([command.keep, command.why])
      const best = (found: typeof booked.openings) => found.find(({ rank }) => rank === 1)?.opening.startsAt.getTime()
      const first = command.ranked[0] && instant(command.ranked[0].at).getTime()
      expect([best(preview.openings), best(booked.openings)], where).toEqual([first, first])

      // The patient tells what changes the facts; then the answer must be what the rule says of the new ones.
      await at.world.reply(phone, 'my period has not started')
      const after = await loadVisit(deps.store.read, await deps.store.read.bookings.get(booked.booking.id))
      const { judgement, openings: better } = await judgeBooking(deps.store.read, deps, after)
      const offer = await deps.store.read.offers.pending(booked.booking.id)
      expect(offer?.choices.map(({ at }) => at) ?? [], where).toEqual(better.map(({ opening }) => opening.startsAt))
      seen.add(judgement.why).add(command.why)
    }
    // Every answer there is was given, or the cases prove little.
    expect([...seen].sort()).toEqual(['better-free', 'good-time', 'nothing-better'])
  })
})
