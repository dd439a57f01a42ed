import type { RequestHandler } from 'express'
import type { Actor } from '../../../domain/access/roles.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { html, type Html } from '../pages/html.ts'
import { document } from '../desk/frame.ts'
import { sendPage } from '../pages/send-page.ts'
import { maySettings, trialBand } from '../settings/trial-band.ts'
import { regionBand } from '../messages/sending-page.ts'

/** `/desk`: the clinics to choose from; with a single one, straight to its bookings. */
export function clinicsPage(deps: Deps): RequestHandler {
  return async ({ actor }, response) => {
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
${trialBand(deps, actor)}<h1>Which clinic's desk?</h1>
${
  clinics.length === 0
    ? html`<p>There is no clinic yet. ${noneYet(actor)}</p>`
    : html`<ul
  class="clinics">${list}</ul>`
}
${maySettings(actor) && html`<p><a href="/settings">Settings</a></p>`}</main>`
    sendPage(response, 200, document('Clinics', body))
  }
}

/** Who may add one is led there; others learn whom to ask. */
function noneYet(actor: Actor | undefined): Html | string {
  if (actor?.may.includes('clinics:write') !== true || !maySettings(actor)) return 'Ask an administrator to add one.'
  return html`<a href="/settings/clinics/new">Add the first</a>, or <a href="/settings">set up the service step by step</a>.`
}
