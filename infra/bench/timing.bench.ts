import { ALL_COMERS, drawCases, REGULAR, TWO_PHASE } from '../../tests/preparation/cycle/simulated-patients.ts'
import { simulateTiming, type Outcome, type Setting } from '../../tests/preparation/cycle/simulated-timing.ts'

const WORLDS = [REGULAR, TWO_PHASE, ALL_COMERS]
const EACH = 500
const TOLD = { 'no history': { stated: true }, 'three past cycles': { stated: true, past: 3 } }
const SHIFTS = [0.002, 0.004, 0.008, 0.012, 0.02, 0.03]

/** What the rule of moving and the questions leave, and at what price; then what other weights of a day would do. */
export async function bench(): Promise<void> {
  const cases = WORLDS.flatMap((world, index) => drawCases(world, EACH, 6, 20 + index))
  console.log('timing: per 100 visits of simulated women (three laws of cycles), openings on weekdays within 14 days')
  for (const [name, told] of Object.entries(TOLD)) {
    for (const [how, more] of Object.entries({
      'all answer': { answering: 1 },
      'half answer': { answering: 0.5 },
      'none answers': { answering: 0 },
      'all answer, one weekday in four has an opening': { answering: 1, free: 0.25 },
    }))
      console.log(`timing: ${name}, ${how}: ${words(simulateTiming(cases, { told, free: 1, ...more }))}`)
    console.log(`timing: ${name}, the frontier by what a day of shift costs (all answer):`)
    for (const shiftDay of SHIFTS) console.log(frontierLine(simulateTiming(cases, atWeight(told, shiftDay)), shiftDay))
  }
}

const atWeight = (told: Setting['told'], shiftDay: number): Setting => ({ told, answering: 1, free: 1, shiftDay })

const hundred = (share: number) => (100 * share).toFixed(2)

function words(outcome: Outcome): string {
  const { forgotten, afterBooking, left, movedAtBooking, shiftDays, questions, movedAgain, calls } = outcome
  return (
    `on days 1-5 ${hundred(forgotten)} → ${hundred(afterBooking)} → ${hundred(left)}; moved ${hundred(movedAtBooking)}, ` +
    `by ${shiftDays.toFixed(1)} d a visit; questions ${hundred(questions)}; moved again ${hundred(movedAgain)}; ` +
    `calls ${hundred(calls)}`
  )
}

/** A bar for the share left after booking, so that the bend shows. */
function frontierLine({ afterBooking, left, shiftDays, movedAtBooking }: Outcome, shiftDay: number): string {
  const bar = '#'.repeat(Math.round(afterBooking * 1_000))
  return `  ${shiftDay.toFixed(3)}  ${shiftDays.toFixed(1)} d  moved ${hundred(movedAtBooking).padStart(5)}  left ${hundred(afterBooking)} → ${hundred(left)}  ${bar}`
}
