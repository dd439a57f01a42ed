import type { DayForecast, Rating } from '../../../domain/preparation/cycle/history.ts'
import { html, type Html } from '../pages/html.ts'
import { chanceWords, cycleDayWords, TIMING } from './words.ts'

/** A shape for each rating, told apart without colour, in print and when small: full, open, halved, barred. */
const SHAPES: Record<Rating, Html> = {
  best: html`<path d="M8 1 15 8 8 15 1 8Z"/>`,
  fine: html`<path d="M8 2 14 8 8 14 2 8Z" fill="none" stroke-width="2"/>`,
  unsure: html`<path d="M8 2 14 8 8 14 2 8Z" fill="none" stroke-width="2"/><path d="M8 2 8 14 2 8Z"/>`,
  avoid: html`<path d="M2 2H14V14H2Z" fill="none" stroke-width="2"/><path d="M2 14 14 2M2 8.5 8.5 2M7.500 14 14 7.500"
    stroke-width="2"/>`,
}

export function mark(rating: Rating): Html {
  return html`<svg class="mark ${rating}" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true"
    focusable="false">${SHAPES[rating]}</svg>`
}

/** A visit's timing: shape, word, likely cycle day, and the chance in words where there is any to speak of. */
export function timing(day: DayForecast): Html {
  const risky = day.rating === 'unsure' || day.rating === 'avoid'
  return html`<span class="timing">${mark(day.rating)} <b>${TIMING[day.rating]}</b>, ${cycleDayWords(day)}${risky && html`<small>${chanceWords(day.avoidProbability)}</small>`}</span>`
}

/** What an opening is worth beside others: which is best, and its chance of a day to avoid. */
export function worthMark({ avoidProbability, rank }: { avoidProbability: number; rank: number }): Html {
  const chance = avoidProbability > 0 ? `${Math.max(1, Math.round(avoidProbability * 100))} in 100` : ''
  const words = [rank === 1 ? 'best' : '', chance].filter((each) => each !== '').join(', ')
  return html`${words !== '' && html` <small>${words}</small>`}`
}
