import type { RequestHandler } from 'express'
import { html } from '../pages/html.ts'
import { CAUTION } from '../views.ts'
import { document } from './frame.ts'
import { send } from './page.ts'
import { regionBand } from '../messages/sending-page.ts'
import type { Deps } from '../../../flows/ports/deps.ts'

/** `/`: where to go from here. */
export function startPage({ access }: Deps): RequestHandler {
  const body = html`<main id="content" class="choice">
<h1>Daysix</h1>
<p>Times and prepares visits for a cervical specimen.</p>
<ul class="clinics">
<li><a href="/desk">The front desk</a> <small>bookings, call list, day sheet</small></li>
<li><a href="/api/v1/openapi.json">The API's description</a> <small>for programs</small></li>
</ul>
</main>
<footer><p>${CAUTION}</p></footer>`
  return async (_request, response) =>
    send(response, 200, document('Daysix', html`${regionBand(await access.read.sendingStops.list())}${body}`))
}
