import { DateTime } from 'luxon'
import * as z from 'zod'
import type { Reading } from '../../../domain/replies/reading.ts'
import type { PageAnswer } from '../../../flows/replies/hear-on-page.ts'
import { writeWhen } from '../../../domain/messages/texts/dates.ts'
import { fill } from '../../../domain/messages/texts/message.ts'
import { html, type Html } from '../pages/html.ts'
import type { PatientPage } from './page-data.ts'

/** How far back a first day may lie: older ones are typing errors. */
const DAYS_BACK = 180

/** The forms by which the patient answers; each posts `answer`, some with a date or a number, to the page itself. */
export function answerForms(page: PatientPage): Html {
  const { words } = page.texts
  return html`<section class="answers" aria-labelledby="answers">
<h2 id="answers">${words.answers.heading}</h2>
${page.choices.length > 0 && offer(page)}
${page.choices.length === 0 && !page.confirmed && come(page)}
${page.periods && period(page)}
${move(page)}
${page.avoid.length > 0 && lapse(page)}
</section>`
}

/** What most patients have to say: the one filled button, where no other times are on offer. */
function come(page: PatientPage): Html {
  const { come: question, comeButton } = page.texts.words.answers
  return form(page, html`<h3>${question}</h3><button name="answer" value="confirm">${comeButton}</button>`)
}

function move(page: PatientPage): Html {
  const { move: question, moveButton } = page.texts.words.answers
  return form(
    page,
    html`<h3>${question}</h3><button class="plain" name="answer" value="cannot-come">${moveButton}</button>`,
  )
}

function form({ path, language }: Pick<PatientPage, 'path' | 'language'>, content: Html): Html {
  return html`<form method="post" action="${path}">
<input type="hidden" name="lang" value="${language.code}">
${content}
</form>`
}

function offer(page: PatientPage): Html {
  const { words } = page.texts
  const buttons = page.choices.map(({ slotId, at }) => {
    const when = writeWhen(at, page.zone, page.language, 'voice')
    return html`<button name="choice"
      value="${slotId}">${fill(words.answers.take, page.language.locale, { when })}</button>\n`
  })
  return form(page, html`<h3>${words.answers.offer}</h3><input type="hidden" name="answer" value="choice">\n${buttons}`)
}

function period(page: PatientPage): Html {
  const { answers } = page.texts.words
  const isLast = page.ask === 'last-period'
  const other = isLast ? { value: 'unclear', label: answers.notSure } : { value: 'not-started', label: answers.notYet }
  const earliest = DateTime.fromISO(page.today, { zone: 'utc' }).minus({ days: DAYS_BACK }).toISODate()
  // The other answer comes in a form of its own: with it the date need not be given.
  return html`<h3>${isLast ? answers.lastPeriod : answers.period}</h3>
${form(
  page,
  html`<input type="hidden" name="answer" value="period-started">
<label for="started-on">${answers.date}</label>
<input id="started-on" name="startedOn" type="date" required min="${earliest}" max="${page.today}"
placeholder="YYYY-MM-DD"${page.problem === 'date' && html` aria-invalid="true"`}>
<button class="plain">${answers.sendDate}</button>`,
)}
${form(page, html`<button class="plain" name="answer" value="${other.value}">${other.label}</button>`)}`
}

function lapse(page: PatientPage): Html {
  const { wrong } = page.texts.words
  return form(
    page,
    html`<h3>${wrong.heading}</h3><p>${wrong.text}</p><button class="plain" name="answer"
      value="prep-lapse">${wrong.button}</button>`,
  )
}

/** The only way to know that an e-mail was read. */
export function readForm(page: Pick<PatientPage, 'path' | 'language' | 'texts'>): Html {
  const { question, button } = page.texts.words.read
  return html`<section>${form(page, html`<h2>${question}</h2><button name="answer" value="read">${button}</button>`)}</section>`
}

/** Where e-mail is ended. */
export function mailForm(page: PatientPage): Html {
  const { heading, text, button } = page.texts.words.mail
  return html`<section>${form(
    page,
    html`<h2>${heading}</h2><p>${text}</p><button class="plain" name="answer" value="end-mail">${button}</button>`,
  )}</section>`
}

/** What is pressed of e-mail: no words of the patient, and nothing to read. */
export const mailAnswer = (body: unknown): 'read' | 'end-mail' | null => {
  const read = z.object({ answer: z.enum(['read', 'end-mail']) }).safeParse(body)
  return read.success ? read.data.answer : null
}

const posted = z.object({
  answer: z.enum(['confirm', 'period-started', 'not-started', 'unclear', 'cannot-come', 'prep-lapse', 'choice']),
  startedOn: z.string().optional(),
  choice: z
    .string()
    .regex(/^o_[0-9a-z]{1,40}$/)
    .optional(),
})

/**
 * What a form of the page said, as if it had been written: the same flow hears it. A choice names its opening, since
 * the offer may have changed while the page was open. `problem` when a date or choice is missing or impossible, so that
 * the page can be shown again.
 *
 * @param today calendar date in the patient's zone.
 */
export function readPageAnswer(body: unknown, today: string): PageAnswer | 'problem' {
  const read = posted.safeParse(body)
  if (!read.success) return 'problem'
  const { answer, startedOn, choice } = read.data
  const reading: Reading = { meaning: answer, confidence: 1, words: [] }
  if (answer === 'period-started') return isPast(startedOn, today) ? { reading: { ...reading, startedOn } } : 'problem'
  if (answer === 'choice') return choice ? { reading, slotId: choice } : 'problem'
  return { reading }
}

/** A real calendar date, today or up to half a year before. */
function isPast(date: string | undefined, today: string): date is string {
  if (date === undefined || !/^\d{4}-\d{2}-\d{2}$/.test(date)) return false
  const day = DateTime.fromISO(date, { zone: 'utc' })
  const daysBack = DateTime.fromISO(today, { zone: 'utc' }).diff(day, 'days').days
  return day.isValid && daysBack >= 0 && daysBack <= DAYS_BACK
}
