import type { Look } from './book-form-data.ts'
import { FOLLOW_UP_REASONS } from '../../../domain/calls/follow-up-reasons.ts'
import type { Obstacle } from '../../../domain/patients/unreachable.ts'
import { hasCycles } from '../../../domain/preparation/cycle/no-cycle.ts'
import { weeksStrip } from '../../../domain/preparation/cycle/strip.ts'
import { dateIn } from '../../../domain/local-time.ts'
import type { Preview } from '../../../flows/visits/preview-visit.ts'
import { html, type Html } from '../pages/html.ts'
import { asksPart } from './book-asks.ts'
import { chosenHistory } from './cycle-choices.ts'
import { daysBetween } from '../../../domain/preparation/cycle/days.ts'
import { isDate, timeOnForm, type BookFields } from './book-fields.ts'
import type { BookForm } from './book-form-data.ts'
import { mark, worthMark } from '../desk/marks.ts'
import type { PageContext } from '../desk/page-context.ts'
import { deferralList } from '../preparation/deferral-list.ts'
import { doubtList } from '../preparation/doubt-list.ts'
import { windowList } from '../preparation/window-list.ts'
import { stripFigure } from '../preparation/cycle-strip.ts'
import { dateWords, typedClock } from '../desk/when.ts'
import { countedTexts, kindWords } from '../desk/words.ts'

/**
 * What asks for the panel anew when a field changes. It stands outside what its answer replaces: a change that waits
 * within would end with it, and the clerk would never see the verdict on what was typed last.
 */
export function looker({ sheet }: BookForm): Html {
  return html`<span hidden hx-post="${sheet.at('book/look')}" hx-include="#booking"
    hx-trigger="change from:#booking delay:120ms" hx-target="#look" hx-select="#look" hx-select-oob="#texts,#known"
      hx-swap="outerHTML" hx-sync="this:replace"></span>`
}

/** The weeks around the visit and better openings. Replaced while the clerk types; also reached by “Check the time”. */
export function lookPanel({ sheet, fields, look, asked, focus }: BookForm): Html {
  return html`<section id="look" class="f-look" aria-label="Timing" aria-live="polite">
${readBack(sheet, fields)}${asksPart(sheet, asked, focus === 'despite')}
${look === null ? html`<p class="empty">The weeks show here as soon as the first day of the last period is in.</p>` : known(sheet, fields, look)}
</section>`
}

function known(
  sheet: PageContext,
  fields: BookFields,
  { cycle, protocol, preview, openings, around, zone }: Look,
): Html {
  const visit = dateIn(around, zone)
  const today = dateIn(sheet.now, zone)
  return html`${preview && verdict(preview, fields)}
${doubtList(sheet, zone, cycle)}
${hasCycles(cycle) && protocol.avoidDays !== null && stripFigure({ strip: weeksStrip(cycle, visit, protocol, today), visit: preview ? visit : '', today })}
${windowList(sheet, protocol.id, zone, cycle)}
${deferralList(protocol, null)}
${openings.length > 0 ? picks(sheet, openings, zone, preview === null) : preview?.judgement.why === 'nothing-better' && html`<p>No opening fits better. Choose another date, or add openings.</p>`}`
}

/** The dates as they were understood: a slip of the order, or of the year, is seen here. */
function readBack({ now, clinic }: PageContext, { lmp, date, sure }: BookFields): Html | null {
  const today = dateIn(now, clinic.zone)
  const began = isDate(lmp) && chosenHistory(sure) === null && lmp
  const words = [
    ...(began ? [`Last period: ${dateWords(began, 'cccc d LLLL yyyy')}, ${daysAgo(daysBetween(began, today))}.`] : []),
    ...(isDate(date) ? [`Visit: ${dateWords(date, 'cccc d LLLL yyyy')}, ${daysAhead(daysBetween(today, date))}.`] : []),
  ]
  return words.length === 0 ? null : html`<p class="read-back">${words.join(' ')}</p>`
}

function daysAgo(days: number): string {
  if (days < 0) return 'to come'
  return days === 0
    ? 'today, cycle day 1'
    : `${days} ${days === 1 ? 'day' : 'days'} ago: today is cycle day ${days + 1}`
}

function daysAhead(days: number): string {
  if (days <= 0) return days === 0 ? 'today' : 'past'
  return days === 1 ? 'tomorrow' : `in ${days} days`
}

/** A time that somebody has is booked all the same only where the clerk says so. */
function verdict({ judgement, taken }: Preview, fields: BookFields): Html {
  const wanted = timeOnForm(fields)
  return html`<p class="verdict ${judgement.forecast.rating}">${mark(judgement.forecast.rating)} ${judgement.reason}</p>
${
  taken &&
  html`<p class="fault">At ${fields.time} the clinician is busy with another patient, or the time is held. Choose another time, or:</p>
<label class="plain"><input type="checkbox" name="overbook" value="${wanted}"${fields.overbook === wanted && html` checked`}>Overbook it on purpose</label>`
}`
}

function picks(sheet: PageContext, openings: Look['openings'], zone: string, first: boolean): Html {
  const local = (at: Date) => `${dateIn(at, zone)}T${typedClock(at, zone)}`
  return html`<p class="picks"><span>${first ? 'Openings at a good time' : 'Better openings'}:</span> ${openings.map(
    ({ opening: { startsAt, clinician }, ...worth }) =>
      html`<button name="pick" value="${local(startsAt)}|${clinician}" formaction="${sheet.at('book/look')}"
        hx-post="${sheet.at('book/look')}" hx-include="#booking" hx-target="#booking" hx-select="#booking"
          hx-swap="outerHTML">${sheet.dayAndClock(startsAt, zone)}${clinician && `, ${clinician}`}${worthMark(worth)}</button> `,
  )}</p>`
}

/** The same reasons as the call list will give. */
function whyNothing({ reason, why }: Obstacle): string {
  if (reason !== 'no-consent') return `Nothing is sent. ${why ?? FOLLOW_UP_REASONS[reason].todo}`
  const until = 'Nothing is sent until the patient agrees. Without it, tell the patient by telephone how to prepare.'
  return why === undefined ? until : `Nothing is sent. ${why}`
}

/** The texts that will go out, when, in the patient's language, and what they cost. */
export function textsPanel(sheet: PageContext, preview: Preview | null): Html {
  return html`<section id="texts" class="f-texts" aria-label="What will be sent">
<h2>What will be sent</h2>
${preview === null ? html`<p>The texts show here when the date and time are in.</p>` : sent(sheet, preview)}
</section>`
}

function sent(sheet: PageContext, { texts, warnings, obstacle }: Preview): Html {
  const segments = texts.reduce((sum, { measure }) => sum + (measure?.segments ?? 0), 0)
  return html`${
    obstacle &&
    html`<p
    class="note">${whyNothing(obstacle)}</p>`
  }
${warnings.map(({ message }) => html`<p class="note">${message}</p>`)}
${
  texts.length > 0 &&
  html`<ol class="texts">${texts.map(
    ({ kind, confirms, channel, sendAt, text, measure }) =>
      html`<li><b>${kindWords({ kind, confirms })}</b> <time
        datetime="${sendAt.toISOString()}">${sheet.dayAndClock(sendAt, sheet.clinic.zone)}</time><q>${text}</q><small>${measure ? countedTexts(measure.segments) : `By ${channel === 'voice' ? 'a call' : 'e-mail'}`}</small></li>\n`,
  )}</ol>${segments > 0 && html`<p>Together ${countedTexts(segments)}.</p>`}`
}`
}
