import type { Frame } from './page-context.ts'
import type { Permission } from '../../../domain/access/roles.ts'
import { anythingGoesOut } from '../../../flows/messages/approved-texts.ts'
import { head } from '../pages/head.ts'
import { html, type Child, type Html } from '../pages/html.ts'
import { CAUTION } from '../views.ts'
import type { PageContext } from './page-context.ts'
import { maySettings, trialBand } from '../settings/trial-band.ts'
import { stoppedBand } from '../messages/stopped-band.ts'
import { alarmBand, callCount } from './watch.ts'
import { clockLine } from './when.ts'

/** Shown wherever rules of preparation are. */
const RULES_CAUTION =
  "The clinic's own protocol, licensed practice and the laboratory's directory prevail over the preparation rules shown here."

/** Each shown to those who may open it, and where there is something on it. Those in use all day have a key. */
const PAGES: [path: string, name: string, may: Permission, key?: string][] = [
  ['bookings', 'Bookings', 'visits:read', '/'],
  ['book', 'Book a visit', 'visits:write', 'b'],
  ['calls', 'Call list', 'calls:read'],
  ['replies', 'Replies', 'calls:read'],
  ['openings', 'Openings', 'visits:read'],
  ['feeds', 'Schedule', 'visits:read'],
  ['day-sheet', 'Day sheet', 'day-sheet:read'],
  ['prints', 'Paper', 'calls:read'],
  ['near-misses', 'Near misses', 'near-misses:read'],
  ['texts', 'Texts', 'texts:read'],
  ['service', 'Service', 'service:read'],
]

/** A page of the desk. */
export function frame({ sheet, title, here, body, rules = false }: Frame): Html {
  const { entries } = sheet.calls
  return document(
    `${entries > 0 ? `(${entries}) ` : ''}${title}, ${sheet.clinic.name}`,
    html`${top(sheet, here)}
${stoppedBand(sheet)}
<main id="content" tabindex="-1">
${trialBand(sheet.deps, sheet.who)}${silentBand(sheet)}<p id="said" role="status" class="said">${sheet.said}</p>
<p id="fresh" role="status" class="fresh"></p>
<p id="changed" class="changed" hidden>Something changed since this page was shown. <button type="button"
  data-refresh>Show it</button></p>
${AWAY}
<h1>${title}</h1>
${body}
</main>
<footer><p>${CAUTION}</p>${rules && html`<p>${RULES_CAUTION}</p>`}<p class="keys" hidden><button type="button"
  data-keys>Keys</button></p></footer>
${KEYS}`,
    sheet.may('calls:read') ? sheet.at('watch') : undefined,
  )
}

/** What the script shows where a form could not be sent: every page with forms has it. */
export const AWAY = html`<p id="away" role="alert" class="changed away" hidden>The service does not answer.
Nothing was sent, and what you typed is still here. Try again in a moment.</p>`

/** What single keys do; whoever speaks to the machine can turn them off (WCAG 2.2, 2.1.4). */
const KEYS = html`<dialog id="keys" aria-labelledby="keys-h"><h2 id="keys-h">Keys</h2>
<dl><div><dt><kbd>/</kbd></dt><dd>Find a patient</dd></div><div><dt><kbd>b</kbd></dt><dd>Book a visit</dd></div><div><dt><kbd>?</kbd></dt><dd>This list</dd></div></dl>
<p>They count where you are not typing.</p>
<label class="plain"><input type="checkbox" data-use-keys> Use these keys in this browser</label>
<form method="dialog"><button class="main">Close</button></form></dialog>`

/** Until the site has approved a language, whoever books must know that nobody is told anything. */
function silentBand({ deps, may, at }: PageContext): Html | null {
  if (anythingGoesOut(deps.approvedTexts)) return null
  const link = html`<a href="${at('texts')}">Read and approve them</a>`
  const how = may('texts:write') ? link : 'An administrator can do so'
  return html`<p class="note band">Nothing goes out until the texts of a language are approved. ${how}.
Call patients meanwhile.</p>
`
}

/** Kept elsewhere and followed here, or the other way round. */
const hasSchedule = ({ feeds, clinic }: PageContext): boolean => feeds.length > 0 || clinic.settings.calendar !== 'none'

function top(sheet: PageContext, here: string): Html {
  const { clinic, at, among, now, may, who } = sheet
  return html`<a class="skip" href="#content">Skip to the content</a>
<header>
<p class="place"><b>${clinic.name}</b>${among && html` <a href="/desk">Other clinics</a>`}</p>
<p class="clock">${clockLine(now, clinic.zone, sheet)}</p>
${
  who.kind === 'person' &&
  html`<form class="who-am-i" method="post" action="/sign-out"><a
  href="/account">${who.name}</a> <button>Sign out</button></form>`
}
<nav aria-label="Desk"><ul>
${PAGES.filter(([path, , permission]) => may(permission) && (path !== 'feeds' || hasSchedule(sheet))).map(
  ([path, name, , key]) => html`<li><a
  href="${at(path)}"${key && html` data-key="${key}"`}${path === here && html` aria-current="page"`}>${name}${
    path === 'calls' && callCount(sheet)
  }</a></li>\n`,
)}${maySettings(who) && html`<li><a href="/settings">Settings</a></li>`}</ul></nav>
${may('calls:read') && alarmBand(sheet)}
</header>`
}

/** htmx keeps no copy of pages, adds no styles, evaluates no code, and asks this site only. */
const HTMX = JSON.stringify({
  includeIndicatorStyles: false,
  allowEval: false,
  selfRequestsOnly: true,
  historyCacheSize: 0,
  refreshOnHistoryMiss: true,
})

/** Telephones are not to make links of numbers by themselves. */
const SCRIPTED = html`<meta name="format-detection" content="telephone=no">
<meta name="htmx-config" content="${HTMX}">
<link rel="stylesheet" href="/desk/assets/desk.css">
<script src="/desk/assets/htmx.js" defer></script>
<script src="/desk/assets/desk.js" defer></script>`

/** A whole document with the desk's style and scripts. @param watch where its script asks for what is to be watched */
export function document(title: string, body: Child, watch?: string): Html {
  return html`<!doctype html>
<html lang="en">
${head(title, SCRIPTED)}
<body${watch !== undefined && html` data-watch="${watch}"`}>
${body}
</body>
</html>
`
}
