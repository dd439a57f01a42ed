import type { Booking } from '../../../domain/visits/booking.ts'
import { whyKeptWords } from '../../../domain/visits/move-limit.ts'
import type { Deferral, FullProtocol } from '../../../domain/preparation/protocol.ts'
import { html, type Html } from '../pages/html.ts'

const AFTER: Record<string, string> = {
  birth: 'a birth',
  miscarriage: 'a miscarriage or termination',
  procedure: 'a procedure on the cervix',
  infection: 'an infection',
  'previous-sample': 'an earlier specimen',
}

/**
 * After what a clinician is asked whether to wait, with every source. Nothing here moves a visit, and nothing of it
 * holds for a specimen that is not routine, or due.
 */
export function deferralList({ deferrals }: Pick<FullProtocol, 'deferrals'>, booking: Booking | null): Html {
  const kept = booking && whyKeptWords(booking)
  return html`<details class="deferrals"><summary>After a birth, a loss, a procedure, an infection, or an earlier specimen: ask a clinician</summary>
${kept && html`<p class="note">This visit does not wait: ${kept}.</p>`}
<dl class="facts">${deferrals.map(entry)}</dl>
<p class="caution">Sources conflict, so a clinician decides. Never for a repeat, a follow-up, or whoever is overdue or may not return.</p></details>`
}

function entry({ after, days, source, conflicts }: Deferral): Html {
  return html`<div><dt>After ${AFTER[after] ?? after.replaceAll('-', ' ')}</dt><dd>${days === null ? 'The clinician decides' : `${days} days`}<small>${source}</small>${conflicts.map((other) => html`<small>But: ${other}</small>`)}</dd></div>
`
}
