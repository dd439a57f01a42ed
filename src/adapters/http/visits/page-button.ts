import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { sendPage } from '../../../flows/messages/send-page.ts'
import { html, type Html } from '../pages/html.ts'
import type { Desk } from '../desk/page.ts'
import type { Answer, PageContext } from '../desk/page-context.ts'
import { orShownAgain, visitHere, type VisitPage } from './visit-deeds.ts'

export function mountPageButton(desk: Desk, page: VisitPage): void {
  desk.post('visits/:id/page', orShownAgain(send, page))
}

/** The patient's private page: its address, and a text with it. Everybody can have it, whatever their texts say. */
export function pagePart(sheet: PageContext, { booking, patient }: { booking: Booking; patient: Patient }): Html {
  const mayNot = !sheet.may('visits:write') || booking.visitAt <= sheet.now
  const button = html`<form method="post" action="${sheet.at(`visits/${booking.id}/page`)}"><button>Send the patient's
page</button></form>`
  return html`<h2>The patient's page</h2>
<p>Only for the patient: whoever has the address sees the visit.
<span class="address">${sheet.deps.pageOf(booking.id, patient.phone)}</span></p>
${mayNot ? null : button}`
}

async function send(sheet: PageContext): Promise<Answer> {
  const { booking } = await visitHere(sheet)
  await sendPage(sheet.deps, booking.id, sheet.who.name)
  return { to: sheet.at(`visits/${booking.id}?said=page-sent`) }
}
