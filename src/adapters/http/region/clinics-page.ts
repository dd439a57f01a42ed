import type { RequestHandler } from 'express'
import type { Deps } from '../../../flows/ports/deps.ts'
import { html } from '../pages/html.ts'
import { document } from '../desk/frame.ts'
import { send } from '../desk/page.ts'
import { regionBand } from '../messages/sending-page.ts'

/** `/desk`: the clinics to choose from; with a single one, straight to its bookings. */
export function clinicsPage(deps: Deps): RequestHandler {
  return async (_request, response) => {
    const clinics = await deps.store.read.clinics.list()
    const [only] = clinics
    if (clinics.length === 1) return response.redirect(303, `/desk/${encodeURIComponent(only!.id)}/bookings`)
    const list = clinics.map(
      ({ id, name, zone, settings: { emergency } }) =>
        html`<li><a href="/desk/${encodeURIComponent(id)}/bookings">${name}</a> <small>${zone}, ${
          emergency === null ? 'no emergency number set' : `emergencies ${emergency}`
        }</small></li>\n`,
    )
    const body = html`${regionBand(await deps.access.read.sendingStops.list())}<main id="content" class="choice">
<h1>Which clinic's desk?</h1>
${
  clinics.length === 0
    ? html`<p>There is no clinic yet. Add one with PUT /api/v1/clinics/ID.</p>`
    : html`<ul
  class="clinics">${list}</ul>`
}
</main>`
    send(response, 200, document('Clinics', body))
  }
}
