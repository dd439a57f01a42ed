import { describe, expect, it } from 'vitest'
import { quietFor, whoAnswered, type Loudness } from '../../../src/domain/messages/voice/who-answered.ts'

/** Levels every half second, as a meter gives them; `#` is speech, `.` is quiet. */
const levels = (sounds: string): Loudness[] =>
  [...sounds].map((sound, n) => ({ ms: (n + 1) * 500, decibels: sound === '#' ? -20 : -96 }))
/** When it is first decided, and for whom. */
function verdict(sounds: string): string {
  const heard = levels(sounds)
  for (let n = 1; n <= heard.length; n++) {
    const who = whoAnswered(heard.slice(0, n), n * 500)
    if (who) return `${who} after ${n / 2} s`
  }
  return 'undecided'
}

// Thresholds of our own: these check the rule, not the world.
describe('who answered', () => {
  it('is a person who says a word or two and waits', () => {
    expect(verdict('.#....')).toBe('person after 2.5 s')
    expect(verdict('####....')).toBe('person after 3.5 s')
  })

  it('is a machine when a greeting goes on, small pauses and all', () => {
    expect(verdict('################')).toBe('machine after 3 s')
    expect(verdict('.##..####.####')).toBe('machine after 3.5 s')
  })

  it('is a person when nothing is said, or nothing comes at all', () => {
    expect(verdict('..........')).toBe('person after 3 s')
    expect(whoAnswered([], 2_999)).toBeUndefined()
    expect(whoAnswered([], 3_000)).toBe('person')
  })

  it('is followed by quiet once the greeting is over', () => {
    expect(quietFor(levels('######....'), 5_000)).toBe(2_000)
    expect(quietFor([], 700)).toBe(700)
  })
})
