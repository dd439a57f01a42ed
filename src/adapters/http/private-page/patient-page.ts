import type { PatientPage } from './page-data.ts'
import { writeWhen } from '../../../domain/messages/texts/dates.ts'
import type { Language } from '../../../domain/messages/texts/library.ts'
import { fill } from '../../../domain/messages/texts/message.ts'
import { emergencyWord } from '../../../domain/messages/texts/render.ts'
import type { PageWords } from '../../templates/load-page.ts'
import { html, type Html } from '../pages/html.ts'
import { languageLink, layout } from '../pages/layout.ts'
import { answerForms, mailForm, readForm } from './patient-answers.ts'

const HOUR = 3_600_000

/** The patient's private page as a whole HTML document. Works without JavaScript. */
export function renderPatientPage(page: PatientPage): string {
  const { language, texts } = page
  const { words } = texts
  return layout({
    lang: language.locale,
    direction: language.direction,
    title: words.title,
    kind: 'patient',
    body: html`${top(page)}
<main>
${texts.state === 'draft' && html`<p class="draft">${words.draft}</p>`}
${notice(page)}
<h1>${words.visit}</h1>
<p class="when"><time datetime="${page.visit.toISOString()}">${writeWhen(page.visit, page.zone, language, 'voice')}</time></p>
${where(page)}
${before(page)}
${page.unread && readForm(page)}
${fine(page)}
${answerForms(page)}
${urgent(page)}
${calendar(page)}
${page.byMail && mailForm(page)}
</main>
${foot(words, language)}`,
  }).text
}

export type ClosedPage = Pick<PatientPage, 'clinic' | 'language' | 'texts' | 'offered' | 'path' | 'unread'>

/** What is shown at the address once the visit is over: nothing about it. */
export function renderClosedPage(page: ClosedPage): string {
  const { language, texts } = page
  const { words } = texts
  return layout({
    lang: language.locale,
    direction: language.direction,
    title: words.title,
    kind: 'patient',
    body: html`${top(page)}
<main>
<h1>${words.closed.heading}</h1>
<p>${words.closed.text}</p>
<p>${callLink(page.clinic, words)}</p>
${page.unread && readForm(page)}
</main>
${foot(words, language)}`,
  }).text
}

function where({ clinic: { address, directions }, texts }: PatientPage): Html | null {
  if (!address && !directions) return null
  return html`<section aria-labelledby="where"><h2 id="where">${texts.words.where}</h2>
${address && html`<p>${address}</p>`}${directions && html`<p>${directions}</p>`}</section>`
}

/**
 * What is shown at an address that opens nothing, for it is not told whether it ever did; and while nothing can be read
 * or kept.
 */
export function renderPlainPage(
  { language, texts }: Pick<PatientPage, 'language' | 'texts'>,
  why: 'missing' | 'away',
): string {
  const { heading, text } = texts.words[why]
  return layout({
    lang: language.locale,
    direction: language.direction,
    title: heading,
    kind: 'patient',
    body: html`<main>
<h1>${heading}</h1>
<p>${text}</p>
</main>`,
  }).text
}

function top({ clinic, texts, language, offered, path }: Omit<ClosedPage, 'unread'>): Html {
  const { words } = texts
  return html`<header>
<p class="clinic">${clinic.name}</p>
<p>${callLink(clinic, words)}</p>
${
  offered.length > 1 &&
  html`<nav aria-label="${words.languages}"><ul class="languages">
${offered.map((each) => languageLink(each, path, language.code))}</ul></nav>`
}
</header>`
}

function callLink({ phone }: PatientPage['clinic'], words: PageWords): Html {
  return html`<a class="call" href="tel:${phone.replace(/[^+\d]/g, '')}">${words.call}: <span
    dir="ltr">${phone}</span></a>`
}

function notice({ said, problem, texts, clinic }: PatientPage): Html | null {
  const { thanks, problem: words } = texts.words
  if (problem === 'full')
    return html`<div class="notice problem" role="alert"><p>${texts.words.call}:
      <span dir="ltr">${clinic.phone}</span></p></div>`
  if (problem === 'choice') return html`<div class="notice problem" role="alert"><p>${words.choice}</p></div>`
  if (problem)
    return html`<div class="notice problem" role="alert"><h2>${words.heading}</h2><p><a
      href="#started-on">${words.date}</a></p></div>`
  if (said === null) return null
  return html`<div class="notice" role="status"><h2>${thanks.heading}</h2><p>${said || thanks.text}</p></div>`
}

/** What to avoid, grouped by the moment from which; what has begun already says "from now". */
function before(page: PatientPage): Html {
  const { avoid, texts } = page
  const { words } = texts
  const hours = [...new Set(avoid.map((rule) => rule.hours))].sort((a, b) => b - a)
  return html`<section aria-labelledby="before">
<h2 id="before">${words.before.heading}</h2>
${hours.length === 0 && html`<p>${words.before.nothing}</p>`}
${hours.map((each) => avoidFrom(page, each))}
${hours.length > 0 && html`<p>${words.before.why}</p>`}
</section>`
}

function avoidFrom({ visit, zone, avoid, language, texts, now }: PatientPage, hours: number): Html {
  const { words } = texts
  const from = new Date(visit.getTime() - hours * HOUR)
  const intro =
    from > now
      ? fill(words.before.from, language.locale, { when: writeWhen(from, zone, language, 'voice') })
      : words.before.late
  return html`<p><strong>${intro}</strong></p>
<ul class="avoid">
${avoid.filter((rule) => rule.hours === hours).map(({ what }) => html`<li>${words.avoid[what] ?? what}</li>\n`)}</ul>
`
}

export function fine({ fine: topics, texts }: PatientPage): Html | null {
  const { heading, items } = texts.words.fine
  const known = topics.filter((topic) => items[topic])
  if (known.length === 0) return null
  return html`<section aria-labelledby="fine">
<h2 id="fine">${heading}</h2>
<ul class="fine">
${known.map((topic) => html`<li>${items[topic]}</li>\n`)}</ul>
</section>`
}

/** Whom to call: the clinic, or the number for emergencies that it has set. */
export function urgentWords(
  { urgent }: PageWords,
  { locale }: Language,
  emergency: string | null,
): PageWords['urgent'] {
  return { ...urgent, text: fill(urgent.text, locale, { emergency: emergencyWord(emergency, 'sms') }) }
}

function urgent({ clinic, texts, language }: PatientPage): Html {
  const { heading, text } = urgentWords(texts.words, language, clinic.emergency)
  return html`<section class="urgent" aria-labelledby="urgent">
<h2 id="urgent">${heading}</h2>
<p>${text}</p>
<p>${callLink(clinic, texts.words)}</p>
</section>`
}

function calendar({ path, language, texts }: PatientPage): Html {
  const { heading, link, hint, title } = texts.words.calendar
  return html`<section aria-labelledby="calendar">
<h2 id="calendar">${heading}</h2>
<p><a href="${path}/visit.ics?lang=${language.code}">${link}</a></p>
<p>${fill(hint, language.locale, { title })}</p>
</section>`
}

function foot({ caution, stop }: PageWords, language: Language): Html {
  return html`<footer>
<p>${caution}</p>
<p>${fill(stop, language.locale, { stop: language.keywords.stop })}</p>
</footer>`
}
