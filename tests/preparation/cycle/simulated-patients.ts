import { calendarDate, dayNumber } from '../../../src/domain/preparation/cycle/days.ts'
import type { CycleHistory } from '../../../src/domain/preparation/cycle/history.ts'

/**
 * Simulated patients whose cycles follow other laws than the forecast's own, so that agreement is earned. Figures
 * behind the laws are published ones; shapes and recall errors are judgement.
 */
export interface Woman {
  age: number
  /** Usual length as the patient states it, days. */
  stated: number
  /** Draws the next cycle length, whole days. */
  next(): number
}
export type World = (chance: Chance) => Woman
export type Chance = () => number

/** Repeatable chance in 0..1 (mulberry32). */
export function chanceFrom(seed: number): Chance {
  let state = seed >>> 0
  return () => {
    state = (state + 0x6d2b79f5) >>> 0
    let t = state
    t = Math.imul(t ^ (t >>> 15), t | 1)
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61)
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296
  }
}

/** A standard normal draw. */
export function normal(chance: Chance): number {
  return Math.sqrt(-2 * Math.log(1 - chance())) * Math.cos(2 * Math.PI * chance())
}

/**
 * Healthy, regularly cycling: mean 28.9, SD 3.4 over all cycles, ages 21-42 (Fehring 2006, JOGNN 35:376). Ordinary
 * variation is Student t with 5 degrees of freedom, one cycle in a hundred is long.
 */
export const REGULAR: World = (chance) => {
  const age = 21 + 21 * chance()
  const usual = 28.9 - 0.13 * (age - 29) + 2.1 * normal(chance)
  const spread = 2.3 * Math.exp(0.38 * normal(chance))
  const long = (): number => (chance() < 0.01 ? 8 - 4 * Math.log(1 - chance()) : 0)
  return {
    age,
    stated: Math.round(usual + 1.3 * normal(chance)),
    next: () => Math.max(17, Math.round(usual + spread * studentT5(chance) + long())),
  }
}

/**
 * Follicular part log-normal and shorter by 0.18 d a year of age, luteal part short and steady (means 16.9 and 12.4 d:
 * Bull 2019, npj Digit Med 2:83); many say 28.
 */
export const TWO_PHASE: World = (chance) => {
  const age = 19 + 23 * chance()
  const [follicular, luteal] = [16.4 - 0.18 * (age - 30) + 1.8 * normal(chance), 12.4 + normal(chance)]
  const spread = 0.12 * Math.exp(0.4 * normal(chance))
  const long = (): number => (chance() < 0.02 ? -10 * Math.log(1 - chance()) : 0)
  const next = (): number =>
    Math.max(15, Math.round(follicular * Math.exp(spread * normal(chance)) + luteal + 0.9 * normal(chance) + long()))
  return { age, stated: chance() < 0.3 ? 28 : Math.round(follicular + luteal + 2 * normal(chance)), next }
}

/** All comers, teenage to over forty: SD 3.95 within 15-45 d and a long tail beyond (Chiazze 1968, JAMA 203:377). */
export const ALL_COMERS: World = (chance) => {
  const age = 17 + 30 * chance()
  const edge = 1 + 0.4 * Math.max(0, (25 - age) / 8) + 0.4 * Math.max(0, (age - 42) / 5)
  const usual = 28.7 - 0.1 * (age - 30) + 2.6 * normal(chance)
  const spread = 2.3 * edge * Math.exp(0.5 * normal(chance))
  const odd = (): number => (chance() < 0.04 * edge ? -16 * Math.log(1 - chance()) : 0) - (chance() < 0.01 ? 8 : 0)
  const stated = chance() < 0.25 ? 28 : Math.round(usual + 2.2 * normal(chance))
  return { age, stated, next: () => Math.max(12, Math.round(usual + spread * normal(chance) + odd())) }
}

/** Normal with known spread: the analytic case. */
export function normalWorld(spread: number): World {
  return (chance) => {
    const usual = 28.9 + 2.1 * normal(chance)
    return { age: 30, stated: Math.round(usual), next: () => Math.round(usual + spread * normal(chance)) }
  }
}

function studentT5(chance: Chance): number {
  let square = 0
  for (let i = 0; i < 5; i++) square += normal(chance) ** 2
  return (normal(chance) / Math.sqrt(square / 5)) * Math.sqrt(3 / 5)
}

/** One woman's truth: what the forecast may know and when the periods really start. */
export interface Case {
  lmp: number
  past: number[]
  age: number
  stated: number
  /** Day numbers of true starts from the LMP on, well past any horizon tested. */
  starts: number[]
}

export const LMP = dayNumber('2026-03-02')

export function drawCases(world: World, count: number, past: number, seed = 7): Case[] {
  const chance = chanceFrom(seed)
  return Array.from({ length: count }, () => {
    const woman = world(chance)
    const history = Array.from({ length: past }, () => woman.next())
    const starts = [LMP]
    while (starts.at(-1)! < LMP + 150) starts.push(starts.at(-1)! + woman.next())
    return { lmp: LMP, past: history, age: Math.round(woman.age), stated: woman.stated, starts }
  })
}

/** Does this day lie on days 1-5 of a cycle? */
export function onDaysOneToFive({ starts }: Case, day: number): boolean {
  return starts.some((start) => day >= start && day < start + 5)
}

/** What the forecast is told of a case. */
export function historyOf(
  { lmp, age, stated, past }: Case,
  told: { stated?: boolean; past?: number } = {},
): CycleHistory {
  return {
    status: 'cycling',
    lmp: calendarDate(lmp),
    age,
    ...(told.stated && { usualCycleDays: stated }),
    ...(told.past && { pastCycleDays: past.slice(-told.past) }),
  }
}

export function meanOf(numbers: readonly number[]): number {
  return numbers.reduce((sum, number) => sum + number, 0) / numbers.length
}
