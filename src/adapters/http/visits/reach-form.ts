import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import { badInput } from '../../../domain/failure.ts'
import { amendBooking } from '../../../flows/visits/amend-booking.ts'
import { html, type Html } from '../pages/html.ts'
import { field, type Desk } from '../desk/page.ts'
import type { Answer, PageContext } from '../desk/page-context.ts'
import { wordingFor } from './book-fields.ts'
import { CHANNEL_CHOICES, isOther, REACH_CHOICES, RELATION_CHOICES, toldReach } from './reach-fields.ts'
import { orShownAgain, seenOf, visitHere, type VisitPage } from './visit-deeds.ts'

export function mountReach(desk: Desk, page: VisitPage): void {
  desk.post('visits/:id/reach', orShownAgain(newReach, page))
}

/** How the patient is reached, who receives, and consent recorded anew. */
export function reachForm(sheet: PageContext, { id }: Booking, { receiver, email }: Patient): Html {
  return html`<details><summary>Correct how the patient is reached</summary>
<form method="post" action="${sheet.at(`visits/${id}/reach`)}">
${choice('reach', 'The number', REACH_CHOICES)}
${choice('channel', 'Messages by', CHANNEL_CHOICES)}
<div class="field"><label for="email">E-mail address, if the patient asked for e-mail (a dash: use none)</label><input
  id="email" name="email" type="text" inputmode="email" maxlength="254" autocomplete="off" value="${email ?? ''}"></div>
${choice('relation', 'Who reads them', RELATION_CHOICES, receiver?.relation)}
<div class="field"><label for="receiver">Name, if not the patient</label><input id="receiver" name="receiver"
  maxlength="120" autocomplete="off" value="${receiver?.name ?? ''}"></div>
<label class="plain"><input type="checkbox" name="open" value="yes"${receiver?.fullDetail && html` checked`}>The patient agreed that this person reads how to prepare</label>
<p>Read out: “${wordingFor('patient', 'sms')}” To somebody else: “${wordingFor('receiver', 'sms')}” Of e-mail say “e-mail
address” instead of “number”.</p>
<label class="plain"><input type="checkbox" name="consent" value="yes">Whoever reads them agreed</label>
<div class="field"><label for="until">Agreed until, if there is an end</label><input id="until" name="until"
  type="date"></div>
<p>The patient's messages are planned anew.</p><button class="main">Keep this</button></form></details>`
}

function choice(name: string, label: string, choices: [value: string, words: string][], now = ''): Html {
  return html`<div class="field"><label for="${name}">${label}</label><select id="${name}"
  name="${name}">${choices.map(([value, words]) => html`<option value="${value}"${value === now && html` selected`}>${words}</option>`)}</select></div>`
}

async function newReach(sheet: PageContext): Promise<Answer> {
  const { booking, patient } = await visitHere(sheet)
  const given = (name: string) => field(sheet, name)
  const [relation, receiver, until] = [given('relation'), given('receiver'), given('until')]
  if (isOther(relation) && receiver === '') badInput('receiver', 'Give the name of whoever receives.')
  const fields = { relation, receiver, open: given('open'), reach: given('reach'), email: given('email') }
  const told = toldReach({ ...fields, channel: given('channel'), detail: '' })
  const reads = told.receiver === undefined ? patient.receiver : told.receiver
  const consent = {
    recordedBy: sheet.who.name,
    wording: wordingFor(reads ? 'receiver' : 'patient', told.channel ?? patient.channel),
    ...(until !== '' && { until }),
  }
  await amendBooking(sheet.deps, booking.id, {
    patient: told,
    ...(given('consent') === 'yes' && { consent }),
    seen: seenOf(sheet),
    by: sheet.who.name,
  })
  return { to: sheet.at(`visits/${booking.id}?said=amended`) }
}
