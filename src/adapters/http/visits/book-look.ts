import type { Slot } from '../../../domain/visits/slot.ts'
import { weeksStrip } from '../../../domain/preparation/cycle/strip.ts'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import type { FullProtocol } from '../../../domain/preparation/protocol.ts'
import { dateIn } from '../../../domain/local-time.ts'
import type { Preview } from '../../../flows/visits/preview-visit.ts'
import { html, type Html } from '../pages/html.ts'
import { timingFacts, type BookFields } from './book-fields.ts'
import type { BookForm } from './book-form.ts'
import { mark } from '../desk/marks.ts'
import type { PageContext } from '../desk/page.ts'
import { windowList } from '../preparation/window-list.ts'
import { stripFigure } from '../preparation/cycle-strip.ts'
import { dayAndClock } from '../desk/when.ts'
import { kindWords } from '../desk/words.ts'

/** What can be said as soon as the last period is in; more when the visit is. */
export interface Look {
  cycle: CycleHistory
  protocol: FullProtocol
  /** Null while no date and time are given: then `openings` are good ones to begin with. */
  preview: Preview | null
  openings: Slot[]
  /** The time the strip is drawn around. */
  around: Date
  zone: string
}

/**
 * What asks for the panel anew when a field changes. It stands outside what its answer replaces: a change that waits within
 * would end with it, and the clerk would never see the verdict on what was typed last.
 */
export function looker({ sheet }: BookForm): Html {
  return html`<span hidden hx-post="${sheet.at('book/look')}" hx-include="#booking" hx-trigger="change from:#booking delay:120ms" hx-target="#look" hx-select="#look" hx-select-oob="#texts" hx-swap="outerHTML" hx-sync="this:replace"></span>`
}

/** The weeks around the visit and better openings. Replaced while the clerk types; also reached by “Look again”. */
export function lookPanel({ sheet, fields }: BookForm, look: Look | null): Html {
  return html`<section id="look" class="f-look" aria-label="Timing" aria-live="polite">
<input type="hidden" name="seen" value="${look?.preview ? timingFacts(fields) : ''}">
${look === null ? html`<p class="empty">The weeks show here as soon as the first day of the last period is in.</p>` : known(sheet, fields, look)}
</section>`
}

function known(sheet: PageContext, fields: BookFields, { cycle, protocol, preview, openings, around, zone }: Look): Html {
  const visit = dateIn(around, zone)
  const today = dateIn(sheet.now, zone)
  return html`${preview && verdict(preview, fields)}
${cycle.status !== 'no-periods' && protocol.avoidDays !== null && stripFigure({ strip: weeksStrip(cycle, visit, protocol, today), visit: preview ? visit : '', today })}
${windowList(sheet, protocol.id, zone, cycle)}
${openings.length > 0 ? picks(sheet, openings, zone, preview === null) : preview && !preview.judgement.keep && html`<p>No opening fits better. Choose another date, or add openings.</p>`}`
}

function verdict({ judgement, taken }: Preview, { time }: BookFields): Html {
  return html`<p class="verdict ${judgement.forecast.rating}">${mark(judgement.forecast.rating)} ${judgement.reason}</p>
${taken && html`<p class="fault">${time} is booked or held for another patient. Choose another time.</p>`}`
}

function picks(sheet: PageContext, openings: Slot[], zone: string, first: boolean): Html {
  const local = (at: Date) => `${dateIn(at, zone)}T${dayAndClock(at, zone).slice(-5)}`
  return html`<p class="picks"><span>${first ? 'Openings at a good time' : 'Better openings'}:</span> ${openings.map(
    ({ startsAt, clinician }) => html`<button name="pick" value="${local(startsAt)}|${clinician}" formaction="${sheet.at('book/look')}" hx-post="${sheet.at('book/look')}" hx-include="#booking" hx-target="#booking" hx-select="#booking" hx-swap="outerHTML">${dayAndClock(startsAt, zone)}${clinician && `, ${clinician}`}</button> `,
  )}</p>`
}

/** The texts that will go out, when, in the patient's language, and what they cost. */
export function textsPanel(sheet: PageContext, preview: Preview | null, { consent }: BookFields): Html {
  return html`<section id="texts" class="f-texts" aria-label="What will be sent">
<h2>What will be sent</h2>
${preview === null ? html`<p>The texts show here when the date and time are in.</p>` : sent(sheet, preview, consent === 'yes')}
</section>`
}

function sent(sheet: PageContext, { texts, warnings }: Preview, agreed: boolean): Html {
  const segments = texts.reduce((sum, { measure }) => sum + (measure?.segments ?? 0), 0)
  return html`${!agreed && html`<p class="note">Nothing is sent until the patient agrees. Without it, tell the patient by telephone how to prepare.</p>`}
${warnings.map(({ message }) => html`<p class="note">${message}</p>`)}
${texts.length > 0 && html`<ol class="texts">${texts.map(
    ({ kind, channel, sendAt, text, measure }) => html`<li><b>${kindWords(kind)}</b> <time datetime="${sendAt.toISOString()}">${dayAndClock(sendAt, sheet.clinic.zone)}</time><q>${text}</q><small>${measure ? `${measure.segments} ${measure.segments === 1 ? 'segment' : 'segments'}, ${measure.encoding}` : `By ${channel === 'voice' ? 'a call' : channel}`}</small></li>\n`,
  )}</ol><p>Together ${segments} ${segments === 1 ? 'segment' : 'segments'}.</p>`}`
}
