import type { Booking } from '../../../domain/visits/booking.ts'
import type { Message } from '../../../domain/messages/message.ts'
import { MEANINGS, type Reading } from '../../../domain/replies/reading.ts'
import { REPLY_MEANINGS } from '../../../domain/replies/reply-meanings.ts'
import type { ReplyRecord } from '../../../flows/ports/deps.ts'
import { html, type Html } from '../pages/html.ts'
import type { PageContext } from '../desk/page-context.ts'
import { dateWords } from '../desk/when.ts'
import { byWords, doneWords, kindWords, MESSAGE_STATE } from '../desk/words.ts'

export function ourEntry(
  { clinic, dayAndClock }: PageContext,
  { id, kind, confirms, sentAt, sendAt, state, text, answer, channel }: Message,
): Html {
  const at = sentAt ?? sendAt
  return html`<li class="ours" id="${id}"><div class="margin"><b>Clinic</b><time
    datetime="${at.toISOString()}">${dayAndClock(at, clinic.zone)}</time></div>
<div><p>${text ?? answer ?? 'Not yet written'}</p><small>${kindWords({ kind, confirms })}, ${MESSAGE_STATE[state]}${byWords(channel)}</small></div></li>
`
}

/** The patient's words, what was understood and done, and a person's way to put it right. */
export function herEntry(sheet: PageContext, reply: ReplyRecord, visits: readonly Booking[]): Html {
  const { id, receivedAt, text, reading, done, corrected } = reply
  return html`<li class="hers" id="${id}"><div class="margin"><b>Patient</b><time
    datetime="${receivedAt.toISOString()}">${sheet.dayAndClock(receivedAt, sheet.clinic.zone)}</time></div>
<div><p>${text}</p>
<small>${corrected ? html`${understood(reading)} (corrected by ${corrected.by}; Daysix read: ${REPLY_MEANINGS[corrected.from].label.toLowerCase()})` : html`Understood: ${understood(reading)}`}. ${doneWords(done)}.</small>
${correctForm(sheet, reply, visits)}</div></li>
`
}

function understood(reading: Reading | null): string {
  if (!reading) return 'not read yet'
  const { meaning, startedOn, endedOn, choice, words, confidence } = reading
  const facts = [
    startedOn && `on ${dateWords(startedOn)}`,
    endedOn && `on ${dateWords(endedOn)}`,
    choice && `number ${choice}`,
  ]
    .filter(Boolean)
    .join(' ')
  const why = words.length > 0 ? `, by “${words.join(' ')}”` : ''
  const sure = confidence < 0.7 ? ', not sure' : ''
  return `${REPLY_MEANINGS[meaning].label.toLowerCase()}${facts && ` ${facts}`}${why}${sure}`
}

function correctForm(
  { at, params, dayAndClock }: PageContext,
  { id, reading }: ReplyRecord,
  visits: readonly Booking[],
): Html {
  return html`<details><summary id="${id}-c">Correct the meaning</summary><form method="post"
    action="${at(`replies/${params.id}/correct`)}">
<input type="hidden" name="reply" value="${id}">
<div class="field"><label for="${id}-m">What was meant</label><select id="${id}-m"
  name="meaning">${MEANINGS.map(
    (meaning) => html`<option
    value="${meaning}"${meaning === reading?.meaning && html` selected`}>${REPLY_MEANINGS[meaning].label}</option>`,
  )}</select></div>
<div class="field"><label for="${id}-d">Day, where there is one</label><input id="${id}-d" type="date" name="date"
  value="${reading?.startedOn ?? reading?.endedOn ?? ''}"></div>
<div class="field"><label for="${id}-n">Number chosen</label><input id="${id}-n" type="number" name="choice" min="1"
  max="3" value="${reading?.choice ?? ''}"></div>
${
  visits.length > 1 &&
  html`<div class="field"><label for="${id}-v">Which visit</label><select id="${id}-v"
  name="visit"><option value="">As before</option>${visits.map(
    (visit) => html`<option
    value="${visit.id}">${dayAndClock(visit.visitAt, visit.zone)}</option>`,
  )}</select></div>`
}
<p>What followed is taken back as far as it can be, and what follows from the right meaning is done. The patient may get a text.</p><button class="main">Correct it</button></form></details>`
}
