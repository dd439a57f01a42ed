import express, { type RequestHandler, type Response } from 'express'
import * as z from 'zod'
import { LARGEST_FORM, MOST_FIELDS } from '../desk/form-limits.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { html, type Html } from '../pages/html.ts'
import { sendPage } from '../pages/send-page.ts'
import { accessPage, signInPage } from './access-page.ts'

/** A form of ours that somebody sent when the session had ended: where it goes, and what was typed. */
const carriedSchema = z.strictObject({
  to: z
    .string()
    .max(500)
    .regex(/^\/(desk|settings)\/[\w/?&=.%,:@+-]*$/)
    .refine((to) => !to.includes('//')),
  fields: z.array(z.tuple([z.string().max(100), z.string().max(20_000)])).max(MOST_FIELDS),
})
type Carried = z.infer<typeof carriedSchema>

/** What the browser brings back; null when it is no such form, or nothing of ours. */
export function readCarried(text: string): Carried | null {
  try {
    return carriedSchema.parse(JSON.parse(text))
  } catch {
    return null
  }
}

/**
 * Whoever sends a form when the session has ended signs in first, and what was typed is kept meanwhile: in the page
 * itself, since it was typed in that browser, and nowhere here.
 */
export function carryForms(provider: boolean): RequestHandler {
  const read = express.urlencoded({ extended: false, limit: LARGEST_FORM, parameterLimit: MOST_FIELDS })
  return (request, response, next) => {
    if (request.actor || request.method !== 'POST' || request.get('HX-Request') !== undefined) return next()
    // A file is not carried: it is chosen again.
    if (request.is('multipart/form-data')) return next()
    onlyOwnForms(request, response, (refused?: unknown) => {
      if (refused) return next(refused)
      read(request, response, (unreadable?: unknown) => {
        if (unreadable) return next(unreadable)
        const carried = JSON.stringify({ to: request.originalUrl, fields: fieldsOf(request.body) })
        if (!readCarried(carried)) return next()
        sendPage(response, 401, signInPage({ to: '/desk', provider, carried, trouble: SIGNED_OUT }))
      })
    })
  }
}

const SIGNED_OUT = 'You are signed out: nothing was changed. Sign in again. What you typed is kept on this page.'

function fieldsOf(body: unknown): [string, string][] {
  return Object.entries((body ?? {}) as Record<string, string | string[]>).flatMap(([name, value]) =>
    [value].flat().map((each): [string, string] => [name, each]),
  )
}

/** Signed in again: one press sends what was typed, as whoever is signed in now. */
export function sendGoOn(response: Response, { to, fields }: Carried): void {
  sendPage(response, 200, goOnPage(to, fields))
}

function goOnPage(to: string, fields: readonly [string, string][]): Html {
  return accessPage(
    'You are signed in again',
    html`<p>What you typed has not been sent yet. If it is yours, go on with it: it is checked as if you sent it now.</p>
<form method="post" action="${to}">${fields.map(
      ([name, value]) => html`<input type="hidden" name="${name}" value="${value}">`,
    )}
<button class="main" autofocus>Go on with what I typed</button></form>
<p><a href="/desk">Leave it, and go to the desk</a></p>`,
  )
}
