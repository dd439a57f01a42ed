import { ALL_COMERS, drawCases, REGULAR, TWO_PHASE } from '../../tests/preparation/cycle/simulated-patients.ts'
import { runTiming, type ServiceOutcome } from '../../tests/preparation/cycle/timing-through-service.ts'

const WORLDS = [REGULAR, TWO_PHASE, ALL_COMERS]
const EACH = 60
const TOLD = { 'no history': { stated: true }, 'three past cycles': { stated: true, past: 3 } }
const PATHS = {
  'the desk moves by the answer to the booking, nobody replies': { deskMoves: true, answering: 0 },
  'the booking stands, all reply': { deskMoves: false, answering: 1 },
  'the desk moves, half reply': { deskMoves: true, answering: 0.5 },
  'the desk moves, all reply': { deskMoves: true, answering: 1 },
}

/** What the running service leaves, path by path, on virtual time; minutes rather than seconds. */
export async function bench(): Promise<void> {
  const cases = WORLDS.flatMap((world, index) => drawCases(world, EACH, 6, 20 + index))
  console.log('service-timing: per 100 visits of simulated women, through bookings, texts and replies on virtual time')
  for (const [name, told] of Object.entries(TOLD))
    for (const [path, setting] of Object.entries(PATHS))
      console.log(`service-timing: ${name}, ${path}: ${words(await runTiming(cases, { told, ...setting }))}`)
}

const hundred = (share: number) => (100 * share).toFixed(1)

function words(outcome: ServiceOutcome): string {
  const { forgotten, afterBooking, left, movedAtBooking, shiftDays, movedLater, questions, texts, calls } = outcome
  return (
    `on days 1-5 ${hundred(forgotten)} → ${hundred(afterBooking)} → ${hundred(left)}; moved at booking ` +
    `${hundred(movedAtBooking)}, by ${shiftDays.toFixed(1)} d a visit; later ${hundred(movedLater)}; ` +
    `questions ${hundred(questions)}; texts ${texts.toFixed(1)} a visit; calls ${hundred(calls)}`
  )
}
