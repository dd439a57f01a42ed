import type { RequestHandler } from 'express'
import type { Actor, Permission } from '../../../domain/access/roles.ts'
import { maySettings, trialBand } from '../settings/trial-band.ts'
import { html, type Html } from '../pages/html.ts'
import { CAUTION } from '../views.ts'
import { document } from './frame.ts'
import { sendPage } from '../pages/send-page.ts'
import { regionBand } from '../messages/sending-page.ts'
import type { Deps } from '../../../flows/ports/deps.ts'

const may = (actor: Actor | undefined, permission: Permission) => actor?.may.includes(permission) === true

/** Who sees no bookings is led to what is open to them, clinic by clinic. */
async function recordsOf({ store }: Deps, actor: Actor | undefined): Promise<Html | null> {
  if (may(actor, 'clinics:read') || !may(actor, 'near-misses:read')) return null
  const clinics = (await store.read.clinics.list()).filter(({ id }) => (actor?.clinicId ?? id) === id)
  return html`${clinics.map(
    ({ id, name }) =>
      html`<li><a href="/desk/${encodeURIComponent(id)}/near-misses">${name}</a> <small>what went wrong or nearly did</small></li>\n`,
  )}`
}

/** `/`: where to go from here. */
export function startPage(deps: Deps): RequestHandler {
  const body = (actor: Actor | undefined, records: Html | null) => html`<main id="content" class="choice">
${trialBand(deps, actor)}<h1>Daysix</h1>
<p>Times and prepares visits for a cervical specimen.</p>
<ul class="clinics">
${may(actor, 'clinics:read') && html`<li><a href="/desk">The front desk</a> <small>bookings, call list, day sheet</small></li>`}${records}
${maySettings(actor) && html`<li><a href="/settings">Settings</a> <small>set up the service: clinics, people, messages</small></li>`}
<li><a href="/api/v1/openapi.json">The API's description</a> <small>for programs</small></li>
</ul>
</main>
<footer><p>${CAUTION}</p></footer>`
  return async ({ actor }, response) => {
    const stops = regionBand(await deps.access.read.sendingStops.list())
    sendPage(response, 200, document('Daysix', html`${stops}${body(actor, await recordsOf(deps, actor))}`))
  }
}
