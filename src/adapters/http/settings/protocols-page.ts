import type { FullProtocol } from '../../../domain/preparation/protocol.ts'
import type { PageContent } from '../desk/page-context.ts'
import { dateWords } from '../desk/when.ts'
import { spoken } from '../desk/words.ts'
import { html, type Html } from '../pages/html.ts'
import type { SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

export function mountProtocols(pages: SettingsPages): void {
  pages.get('protocols', protocolsPage)
}

/** Read only: a protocol is a file, so that who changed what, when and by which source can be seen. */
async function protocolsPage(sheet: SettingsContext): Promise<PageContent> {
  const { deps, now } = sheet
  // None excepted, so that every one is counted.
  const counts = await deps.store.read.bookings.needingOther([], now)
  const visits = new Map(counts.map((each) => [each.protocol, each.visits]))
  return {
    title: 'Protocols',
    here: 'protocols',
    body: html`<p>A protocol says how a kind of specimen is prepared for and timed. The clinic’s own protocol, licensed
practice and the laboratory’s directory prevail over what comes with Daysix.</p>
${[...deps.protocols.values()].map((protocol) => protocolPart(sheet, protocol, visits.get(protocol.id) ?? 0))}
<h2>Change one, or add one</h2>
<p>Each is a file with the source of every value. Your own stands in the folder “protocols” of what the setting
SITE_TEMPLATES_DIR names; a file of the same id changes only the fields that it names. What each line means is in
templates/README.md. It holds from the next start on, and visits to come are planned anew.</p>`,
  }
}

function protocolPart({ library, now }: SettingsContext, protocol: FullProtocol, visits: number): Html {
  const { id, names, ofSite, avoid, fine, reviewBy, visitMinutes } = protocol
  const rules = library.languages.get('en')!.rules
  const words = (what: string) => rules[what]?.long ?? spoken(what).toLowerCase()
  const review = dateWords(reviewBy, 'd LLLL yyyy')
  const isOld = reviewBy < now.toISOString().slice(0, 10)
  return html`<section class="protocol" aria-labelledby="p-${id}"><h2 id="p-${id}">${names.en}</h2>
<dl class="facts"><div><dt>From</dt><dd>${ofSite ? 'Your own file' : 'Comes with Daysix'}</dd></div>
<div><dt>Visits to come</dt><dd>${visits.toLocaleString('en')}</dd></div>
<div><dt>A visit lasts</dt><dd>${visitMinutes} min, unless the clinic says otherwise</dd></div>
<div><dt>To be looked at again by</dt><dd>${isOld ? html`<b class="act">${review}</b>` : review}</dd></div></dl>
<dl class="plainly"><div><dt>Before the visit</dt><dd>${
    avoid.length === 0
      ? 'No preparation.'
      : html`<ul>${avoid.map(({ what, hours }) => html`<li>no ${words(what)} for ${hours} hours</li>`)}</ul>`
  }</dd></div>
<div><dt>Stays as it is</dt><dd>${fine.map((what) => spoken(what).toLowerCase()).join(', ')}</dd></div>
<div><dt>Days of the cycle</dt><dd>${timingWords(protocol)}</dd></div>
<div><dt>Messages</dt><dd>${messageWords(protocol)}</dd></div></dl></section>
`
}

function timingWords({ avoidDays, idealDay, idealWindow }: FullProtocol): string {
  if (avoidDays === null) return 'Any day will do.'
  const { first, last, strength } = avoidDays
  const soft = strength === 'soft' ? ' where there is a choice' : ''
  const { first: from, last: to } = idealWindow
  return `Not on days ${first} to ${last}${soft}; best about day ${idealDay}, well timed from day ${from} to ${to}.`
}

/** As `domain/preparation/plan.ts` and `deadline.ts` have it. */
function messageWords({ prepHours, avoidDays }: FullProtocol): string {
  const prep =
    prepHours === 0
      ? ''
      : ` How to prepare, 4 hours before these ${prepHours} hours begin, or at 18:00 the evening before where that ` +
        'falls outside sending hours.'
  const cycle = avoidDays === null ? '' : ' A question about the last period, where it is needed to time the visit.'
  return `A confirmation at once.${cycle}${prep} A reminder at 17:00 the day before.`
}
