import type { Message } from '../../../domain/messages/message.ts'
import type { PageContext } from '../desk/page-context.ts'
import { html, type Html } from '../pages/html.ts'
import { byWords, kindWords, MESSAGE_STATE } from '../desk/words.ts'

/** Messages of a visit in order of time: what, when, what became of it, and the words once sent. */
export function messageList(sheet: PageContext, messages: readonly Message[], zone: string): Html {
  if (messages.length === 0) return html`<p class="empty">Nothing is planned and nothing was sent.</p>`
  const ordered = messages
    .filter(({ state, code }) => !(state === 'withdrawn' && code === 'plan-revised'))
    .toSorted((a, b) => when(a).getTime() - when(b).getTime())
  return html`<ol class="texts">${ordered.map((message) => entry(sheet, message, zone))}</ol>`
}

const when = ({ sentAt, sendAt }: Message) => sentAt ?? sendAt

function entry(sheet: PageContext, message: Message, zone: string): Html {
  const { channel, state, text, code } = message
  return html`<li><b>${kindWords(message)}</b> <time
    datetime="${when(message).toISOString()}">${sheet.dayAndClock(when(message), zone)}</time> ${MESSAGE_STATE[state]}${byWords(channel)}${code && state !== 'delivered' && html` <small>(${code})</small>`}${text && html`<q>${text}</q>`}</li>
`
}
