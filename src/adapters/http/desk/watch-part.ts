import { html } from '../pages/html.ts'
import type { Desk } from './page.ts'
import { alarmBand, callCount } from './watch.ts'

/** What each page keeps up to date of itself: how many calls, whether there is an alarm. */
export function mountWatch(desk: Desk): void {
  desk.raw('watch', async (sheet) => html`${callCount(sheet)}${alarmBand(sheet)}`)
}
