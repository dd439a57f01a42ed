import { readFileSync } from 'node:fs'
import express, { Router } from 'express'
import * as z from 'zod'
import { DateTime } from 'luxon'
import { Failure } from '../../../domain/failure.ts'
import type { Clock } from '../../../flows/ports/deps.ts'
import type { PhoneText, PocketGateway } from '../../gateways/pocket/pocket-gateway.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { html, type Html } from '../pages/html.ts'
import { sendPage } from '../pages/send-page.ts'

const CSS = readFileSync(new URL('phones.css', import.meta.url), 'utf8')
const MOST_SHOWN = 60

export interface PhonesOptions {
  pocket: PocketGateway
  clock: Clock
  zone: string
  /** Who carries which phone, for the list, and which phones belong together there. */
  nameOf: (number: string) => string
  groupOf: (number: string) => string
  /** The next visit of each number that has one. */
  nextVisits: () => Promise<ReadonlyMap<string, Date>>
  /** Somebody wrote as the patient. */
  onWritten: (number: string) => void
}

/** Pages that show the simulated phones, so that a person can play the patients. For demo and trial only. */
export function phonePages(options: PhonesOptions): Router {
  const { pocket } = options
  const router = Router()
  router.get('/assets/phones.css', (_request, response) => void response.type('css').send(CSS))
  router.get('/phones', async (_request, response) => sendPage(response, 200, await layout(options, null)))
  router.get('/phones/:number', async (request, response) =>
    sendPage(response, 200, await layout(options, known(pocket, String(request.params.number)))),
  )
  router.post(
    '/phones/:number',
    onlyOwnForms,
    express.urlencoded({ extended: false, limit: '16kb' }),
    async (request, response) => {
      const number = known(pocket, String(request.params.number))
      const { text } = z
        .object({ text: z.string().trim().min(1, 'Write something first.').max(2000) })
        .parse(request.body ?? {})
      options.onWritten(number)
      await pocket.reply(number, text)
      response.redirect(303, `/phones/${encodeURIComponent(number)}`)
    },
  )
  return router
}

function known(pocket: PocketGateway, number: string): string {
  if (pocket.phones().some((phone) => phone.number === number)) return number
  throw new Failure('not-found', { message: 'No simulated phone has this number.' })
}

const MOMENT = 'ccc d LLL, HH:mm'

async function layout(options: PhonesOptions, number: string | null): Promise<Html> {
  const { pocket, clock, zone, nameOf } = options
  const now = DateTime.fromJSDate(clock.now(), { zone }).toFormat('cccc d LLLL yyyy, HH:mm')
  const texts = number === null ? [] : pocket.phone(number).texts
  return html`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="htmx-config" content="${JSON.stringify({ includeIndicatorStyles: false, allowEval: false })}">
<title>${number === null ? 'Simulated phones' : nameOf(number)}, Daysix</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/assets/phones.css">
<script src="/desk/assets/htmx.js" defer></script>
</head>
<body>
<header>
<h1>Simulated phones</h1>
<p>Nobody is reached from here. Choose a phone and write as the patient would: from then on the patient answers no more by
herself. It is <b id="now">${now}</b>. <a href="/">Start here</a></p>
</header>
<main>
<nav aria-label="Phones" id="phones" ${live(number)}>${await list(options, number)}</nav>
<section aria-label="Texts">${number === null ? html`<p>No phone chosen.</p>` : conversation(texts, zone, number)}</section>
</main>
<footer>Daysix times and prepares specimens. Not medical advice, not contraception; local codes and licensed practice prevail.</footer>
</body>
</html>`
}

/** Asks for the page anew, once for all its parts that change. Whoever writes is not disturbed: the form is none. */
function live(number: string | null): Html {
  const here = number === null ? '/phones' : `/phones/${number}`
  return html`hx-get="${here}" hx-trigger="every 3s" hx-select="#phones" hx-swap="outerHTML"
  hx-select-oob="#now,#log"`
}

/** Phones by clinic, the latest text first. */
async function list(
  { pocket, zone, nameOf, groupOf, nextVisits }: PhonesOptions,
  chosen: string | null,
): Promise<Html[]> {
  const phones = pocket.phones().sort((a, b) => last(b.texts) - last(a.texts))
  const visits = await nextVisits()
  const groups = [...new Set(phones.map(({ number }) => groupOf(number)))].sort()
  const entryOf = ({ number, texts }: { number: string; texts: readonly PhoneText[] }) => {
    const visit = visits.get(number)
    return html`<li><a href="/phones/${number}"${number === chosen && html` aria-current="page"`}>${nameOf(number)}<small>${
      visit ? `Visit ${DateTime.fromJSDate(visit, { zone }).toFormat(MOMENT)}` : 'No visit to come'
    }</small><small class="latest">${texts.at(-1)?.text}</small></a></li>\n`
  }
  return groups.map(
    (group) => html`<h2>${group}</h2><ul>${phones.filter(({ number }) => groupOf(number) === group).map(entryOf)}</ul>`,
  )
}

function last(texts: readonly PhoneText[]): number {
  return texts.at(-1)?.at.getTime() ?? 0
}

function conversation(texts: readonly PhoneText[], zone: string, number: string): Html {
  const shown = texts.slice(-MOST_SHOWN)
  return html`<ol class="log" id="log">${shown.map((each) => entry(each, zone))}</ol>
<form method="post" action="/phones/${number}">
<label><span>Write as the patient</span><input name="text" required maxlength="2000" autocomplete="off"
  autofocus></label>
<button>Send</button>
</form>`
}

function entry({ direction, channel, text, at }: PhoneText, zone: string): Html {
  const hers = direction === 'from-patient'
  const when = DateTime.fromJSDate(at, { zone }).toFormat(MOMENT)
  const who = hers ? 'Patient' : channel === 'voice' ? 'Clinic calls' : 'Clinic'
  return html`<li class="${hers ? 'hers' : 'theirs'}"><span class="who"><b>${who}</b>${when}</span><p>${text}</p></li>`
}
