import type { Permission } from '../../../domain/access/roles.ts'
import type { PageContent } from '../desk/page-context.ts'
import { AWAY, document } from '../desk/frame.ts'
import { clockLine } from '../desk/when.ts'
import { regionBand } from '../messages/sending-page.ts'
import { html, type Html } from '../pages/html.ts'
import { CAUTION } from '../views.ts'
import type { SettingsContext } from './settings-context.ts'
import { trialBand } from './trial-band.ts'

/** Each shown to those who may open it. */
export const PAGES: readonly { path: string; name: string; may: Permission; says: string }[] = [
  { path: '', name: 'Set-up', may: 'clinics:write', says: 'what is done, and what is left to do' },
  { path: 'clinics', name: 'Clinics', may: 'clinics:write', says: 'name, number, hours, and every rule of a clinic' },
  { path: 'gateways', name: 'Gateways', may: 'service:read', says: 'what carries texts and calls; send a test' },
  { path: 'people', name: 'People', may: 'people:manage', says: 'who may sign in, and to what' },
  { path: 'keys', name: 'Keys for programs', may: 'people:manage', says: 'how other programs get in' },
  { path: 'protocols', name: 'Protocols', may: 'texts:read', says: 'how each specimen is prepared for and timed' },
  { path: 'retention', name: 'What is kept', may: 'service:read', says: 'for how long, and what was cleared' },
  { path: 'replies', name: 'Replies', may: 'audit:read', says: 'what people read otherwise than Daysix' },
  { path: 'audit', name: 'Record', may: 'audit:read', says: 'who saw and changed what' },
]

/** A page of the settings, in the desk's style. */
export function settingsFrame(sheet: SettingsContext, { title, here, body }: PageContent): Html {
  return document(
    `${title}, Settings`,
    html`${top(sheet, here)}
${regionBand(sheet.stops)}
<main id="content" tabindex="-1" class="settings">
${trialBand(sheet.deps, sheet.who)}<p id="said" role="status" class="said">${sheet.said}</p>
${AWAY}
<h1>${title}</h1>
${body}
</main>
<footer><p>${CAUTION}</p></footer>`,
  )
}

function top(sheet: SettingsContext, here: string): Html {
  const { now, zone, who, may } = sheet
  return html`<a class="skip" href="#content">Skip to the content</a>
<header>
<p class="place"><b>Settings</b> <a href="/desk">To the desk</a></p>
<p class="clock">${clockLine(now, zone, sheet)}</p>
${
  who.kind === 'person' &&
  html`<form class="who-am-i" method="post" action="/sign-out"><a
  href="/account">${who.name}</a> <button>Sign out</button></form>`
}
<nav aria-label="Settings"><ul>
${PAGES.filter((page) => may(page.may)).map(
  ({ path, name }) => html`<li><a
  href="${addressOf(path)}"${path === here && html` aria-current="page"`}>${name}</a></li>\n`,
)}</ul></nav>
</header>`
}

/** Address of a page of the settings. */
export const addressOf = (path: string): string => (path === '' ? '/settings' : `/settings/${path}`)
