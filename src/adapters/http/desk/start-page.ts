import type { RequestHandler } from 'express'
import type { Actor } from '../../../domain/access/roles.ts'
import { maySettings, trialBand } from '../settings/trial-band.ts'
import { html } from '../pages/html.ts'
import { CAUTION } from '../views.ts'
import { document } from './frame.ts'
import { sendPage } from '../pages/send-page.ts'
import { regionBand } from '../messages/sending-page.ts'
import type { Deps } from '../../../flows/ports/deps.ts'

/** `/`: where to go from here. */
export function startPage(deps: Deps): RequestHandler {
  const body = (actor: Actor | undefined) => html`<main id="content" class="choice">
${trialBand(deps, actor)}<h1>Daysix</h1>
<p>Times and prepares visits for a cervical specimen.</p>
<ul class="clinics">
<li><a href="/desk">The front desk</a> <small>bookings, call list, day sheet</small></li>
${maySettings(actor) && html`<li><a href="/settings">Settings</a> <small>set up the service: clinics, people, messages</small></li>`}
<li><a href="/api/v1/openapi.json">The API's description</a> <small>for programs</small></li>
</ul>
</main>
<footer><p>${CAUTION}</p></footer>`
  return async ({ actor }, response) => {
    const stops = regionBand(await deps.access.read.sendingStops.list())
    sendPage(response, 200, document('Daysix', html`${stops}${body(actor)}`))
  }
}
