import { readFileSync } from 'node:fs'
import express, { Router, type Response } from 'express'
import * as z from 'zod'
import { DateTime } from 'luxon'
import { Failure } from '../../../domain/failure.ts'
import type { Clock } from '../../../flows/ports/deps.ts'
import type { PhoneText, PocketGateway } from '../../gateways/pocket/pocket-gateway.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { html, type Html } from '../pages/html.ts'

const CSS = readFileSync(new URL('phones.css', import.meta.url), 'utf8')
const MOST_SHOWN = 60

export interface PhonesOptions {
  pocket: PocketGateway
  clock: Clock
  zone: string
  /** Who carries which phone, for the list. */
  nameOf: (number: string) => string
}

/** Pages that show the simulated phones, so that a person can play the patients. For demo and trial only. */
export function phonePages({ pocket, clock, zone, nameOf }: PhonesOptions): Router {
  const router = Router()
  const page = (number: string | null) => layout({ pocket, clock, zone, nameOf }, number)
  router.get('/assets/phones.css', (_request, response) => void response.type('css').send(CSS))
  router.get('/phones', (_request, response) => send(response, page(null)))
  router.get('/phones/:number', (request, response) =>
    send(response, page(known(pocket, String(request.params.number)))),
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

function send(response: Response, page: Html): void {
  response.type('html').set('Cache-Control', 'no-store').send(page.text)
}

function layout({ pocket, clock, zone, nameOf }: PhonesOptions, number: string | null): Html {
  const phones = pocket.phones().sort((a, b) => last(b.texts) - last(a.texts))
  const now = DateTime.fromJSDate(clock.now(), { zone }).toFormat('cccc d LLLL yyyy, HH:mm')
  return html`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Simulated phones, Daysix</title>
<link rel="stylesheet" href="/assets/phones.css">
</head>
<body>
<header>
<h1>Simulated phones</h1>
<p>Nobody is reached from here. Choose a phone and write as the patient would. The service's clock: ${now} (${zone}).</p>
</header>
<main>
<nav aria-label="Phones"><ul>
${phones.map(
  (phone) => html`<li><a
  href="/phones/${phone.number}"${phone.number === number && html` aria-current="page"`}>${nameOf(phone.number)}<small>${phone.number}, ${phone.texts.length} texts</small></a></li>`,
)}
</ul></nav>
<section aria-label="Texts">${number === null ? html`<p>No phone chosen.</p>` : conversation(pocket.phone(number).texts, zone, number)}</section>
</main>
<footer>Daysix times and prepares specimens. Not medical advice, not contraception; local codes and licensed practice prevail.</footer>
</body>
</html>`
}

function last(texts: readonly PhoneText[]): number {
  return texts.at(-1)?.at.getTime() ?? 0
}

function conversation(texts: readonly PhoneText[], zone: string, number: string): Html {
  const shown = texts.slice(-MOST_SHOWN)
  return html`<ol class="log">${shown.map((each) => entry(each, zone))}</ol>
<form method="post" action="/phones/${number}">
<label><span>Write as the patient</span><input name="text" required maxlength="2000" autocomplete="off"
  autofocus></label>
<button>Send</button>
</form>`
}

function entry({ direction, channel, text, at }: PhoneText, zone: string): Html {
  const hers = direction === 'from-patient'
  const when = DateTime.fromJSDate(at, { zone }).toFormat('ccc d LLL, HH:mm')
  const who = hers ? 'Patient' : channel === 'voice' ? 'Clinic calls' : 'Clinic'
  return html`<li class="${hers ? 'hers' : 'theirs'}"><span class="who"><b>${who}</b>${when}</span><p>${text}</p></li>`
}
