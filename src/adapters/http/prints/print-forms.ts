import { html, type Html } from '../pages/html.ts'
import type { Part } from './print-part.ts'

const ROWS = 12

const BOOKINGS = [
  'Visit (day, time, room)',
  'Name, second identifier',
  'Telephone; landline?',
  'First day of last period, usual days; or none, pregnant, unknown',
  'Why; due by',
  'Language',
  'Agreed to messages? Who asked, in which words',
  'Told how to prepare? By whom',
]

const REPLIES = [
  'When',
  'Name, telephone',
  'What was said, word for word; STOP?',
  'What was answered; move, cancel, period started',
  'By whom',
]

/** What is taken down while nothing can be typed. */
export function blankForms(): Part[] {
  return [
    { title: 'Bookings taken on paper', columns: BOOKINGS, rows: blanks(BOOKINGS.length) },
    { title: 'Replies and calls taken on paper', columns: REPLIES, rows: blanks(REPLIES.length) },
  ]
}

const blanks = (columns: number): Html[] =>
  Array.from(
    { length: ROWS },
    () => html`<tr class="empty">${Array.from({ length: columns }, () => html`<td></td>`)}</tr>
`,
  )

/** How what was written down gets into the service again, in the order in which it could do harm. */
export function typingIn(): Html {
  return html`<h2>Typing it in afterwards</h2>
<ol>
<li>Before the service sends again: if patients were told by telephone, stop sending (page Sending, or <code>npx daysix sending stop</code> before the start). When all is typed in, let it go on, with what was due put on the call list.</li>
<li>Whoever said STOP, or that the number is not the patient's: open the visit and end the messages, first of all.</li>
<li>Alarms and anything a clinician should hear: see that somebody has called. Record it on the call list.</li>
<li>Visits cancelled or moved: on the visit. Then new bookings: page Book a visit, with consent only where it was given. Were two given one time, the page says so.</li>
<li>Periods that started, and other dates: on the visit. Better times are offered after that, so not before the moves.</li>
<li>Calls made: close each on the call list with what came of it. What was told from the list of what was still to be sent: close its call as done.</li>
<li>How visits ended: on the day sheet of that day.</li>
<li>A second person compares paper and screen, then this paper is destroyed.</li>
</ol>
`
}
