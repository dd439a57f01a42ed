import type { PageContext } from '../desk/page-context.ts'
import { type Html, html } from '../pages/html.ts'
import { REGION } from '../../../flows/messages/stop-sending.ts'

/** Stands on top of every page of the desk, on paper too, as long as the switch is thrown. */
export function stoppedBand({ stops, clinic, at, dayAndClock }: PageContext): Html[] {
  return stops.map(
    (stop) =>
      html`<p class="stopped" role="status"><b>All sending ${stop.scope === REGION ? 'of all clinics' : 'of this clinic'} is stopped</b> since ${dayAndClock(stop.at, clinic.zone)} by ${stop.by}: ${stop.why} <a href="${at('sending')}">Look</a></p>`,
  )
}
