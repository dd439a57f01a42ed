import type { SendingStop } from '../../../flows/ports/access.ts'
import { REGION, resumeSending, stopSending, type Backlog, type Hand } from '../../../flows/messages/stop-sending.ts'
import { html, type Html } from '../pages/html.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer } from '../desk/page-context.ts'
import type { PageContext } from '../desk/page-context.ts'

export function mountSending(desk: Desk): void {
  desk.get('sending', sending)
  desk.post('sending', change)
}

/** The switch: what it does, whether it is thrown, and what becomes of what waits. */
async function sending(sheet: PageContext): Promise<Answer> {
  const { stops, clinic, who } = sheet
  const own = stops.find(({ scope }) => scope === clinic.id)
  const all = stops.find(({ scope }) => scope === REGION)
  const region = who.clinicId === null
  return {
    title: 'Sending',
    here: 'service',
    body: html`<p>Stops every text and call at once: for wrong words, a wrong list, a fault of the provider. What is with the provider already cannot be called back. Bookings, plans and replies go on.</p>
<h2>${clinic.name}</h2>${own ? resumeForm(sheet, own) : stopForm(sheet, clinic.id, 'Stop all sending of this clinic')}
${region && html`<h2>All clinics</h2>${all ? resumeForm(sheet, all) : stopForm(sheet, REGION, 'Stop all sending of all clinics')}`}`,
  }
}

/** Nothing to press for who may only see it. */
function stopForm(sheet: PageContext, scope: string, label: string): Html {
  if (!sheet.may('sending:stop')) return html`<p>Messages go out.</p>`
  return html`<form method="post" action="${sheet.at('sending')}"><input type="hidden" name="scope" value="${scope}">
<p>Messages go out.</p>
<div class="field"><label for="why-${scope}">Why, for whoever resumes it (no names of patients)</label><input
  id="why-${scope}" name="why" required maxlength="300" autocomplete="off"></div>
<button name="do" value="stop">${label}</button></form>`
}

function resumeForm(sheet: PageContext, { scope, at, by, why }: SendingStop): Html {
  const since = html`<p><b class="act">Stopped since ${sheet.dayAndClock(at, sheet.clinic.zone)}</b> by ${by}: ${why}</p>`
  if (!sheet.may('sending:stop')) return since
  return html`${since}<form method="post" action="${sheet.at('sending')}"><input type="hidden" name="scope"
    value="${scope}">
<p>What was due meanwhile and is worthless by now is on the call list. The rest:</p>
<button name="do" value="send">Go on, and send late what is still worth it</button>
<button name="do" value="call">Go on, and put what was due on the call list instead</button></form>`
}

async function change(sheet: PageContext): Promise<Answer> {
  const { deps, who, clinic } = sheet
  const hand: Hand = { kind: who.kind, id: who.id, by: who.name }
  const scope = field(sheet, 'scope') === REGION && who.clinicId === null ? REGION : clinic.id
  const action = field(sheet, 'do')
  if (action === 'stop') await stopSending(deps, scope, field(sheet, 'why'), hand)
  else await resumeSending(deps, scope, (action === 'call' ? 'call' : 'send') satisfies Backlog, hand)
  return { to: sheet.at(`sending?said=${action === 'stop' ? 'sending-stopped' : 'sending-resumed'}`) }
}

/** The same where no clinic has been chosen yet: of what concerns everybody. */
export function regionBand(stops: readonly SendingStop[]): Html[] {
  const all = stops.filter(({ scope }) => scope === REGION)
  return all.map(
    ({ by, why }) =>
      html`<p class="stopped" role="status"><b>All sending of all clinics is stopped</b> by ${by}: ${why}</p>`,
  )
}
