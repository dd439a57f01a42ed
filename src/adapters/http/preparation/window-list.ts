import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import { windowWords } from '../../../domain/preparation/cycle/window-words.ts'
import { windowsOf } from '../../../flows/visits/judge-booking.ts'
import type { PageContext } from '../desk/page-context.ts'
import { html, type Html } from '../pages/html.ts'

const WHICH = ['This cycle', 'Next cycle', 'The one after']

/** The collection windows of this cycle and the next two, each in a line; nothing where days play no part. */
export function windowList({ deps }: PageContext, protocol: string, zone: string, cycle: CycleHistory): Html | false {
  const windows = windowsOf(deps, { protocol, zone }, cycle)
  if (windows.length === 0) return false
  const line = (words: string, index: number) => html`<div><dt>${WHICH[index] ?? 'Then'}</dt><dd>${words}</dd></div>`
  return html`<section aria-label="Collection windows"><h2>Collection windows</h2><dl
    class="facts">${windows.map((each, index) => line(windowWords(each), index))}</dl></section>`
}
