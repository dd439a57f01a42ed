import { readFileSync } from 'node:fs'
import express, { Router, type ErrorRequestHandler, type Request, type Response } from 'express'
import * as z from 'zod'
import { Failure } from '../../../domain/failure.ts'
import { choosePassword } from '../../sign-in/people.ts'
import { openSession, signIn, signOut } from '../../sign-in/sign-in.ts'
import type { Gate } from './gate.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { toProblem } from '../problem.ts'
import { html, type Child, type Html } from '../pages/html.ts'

const CSS = readFileSync(new URL('sign-in.css', import.meta.url), 'utf8')
const LARGEST_FORM = '4kb'
const text = (most: number) => z.string().max(most).default('')

const signInForm = z.object({ login: text(64), password: text(400), code: text(20), to: text(500) })
const firstForm = z.object({ code: text(64), password: text(400), again: text(400) })

/** `/sign-in`, `/sign-in/first` (one-time code), `/sign-out`. */
export function signInPages(gate: Gate): Router {
  const router = Router()
  const { deps, cookie, limits } = gate
  const provider = gate.settings.provider !== undefined
  router.get('/assets/sign-in.css', (_request, response) => void response.type('css').send(CSS))
  router.use(
    ['/sign-in', '/sign-out'],
    onlyOwnForms,
    express.urlencoded({ extended: false, limit: LARGEST_FORM, parameterLimit: 20 }),
  )

  router.get('/sign-in', (request, response) =>
    sendPage(response, 200, signInPage(localPath(request.query.to), provider)),
  )
  router.post('/sign-in', limits.signIn, async (request, response) => {
    const { to, ...credentials } = signInForm.parse(request.body ?? {})
    try {
      await enter(request, response, await signIn(deps, credentials))
      response.redirect(303, localPath(to))
    } catch (error) {
      sendTrouble(response, error, (trouble) => signInPage(localPath(to), provider, trouble))
    }
  })

  router.get('/sign-in/first', (_request, response) => sendPage(response, 200, firstPage()))
  router.post('/sign-in/first', limits.signIn, async (request, response) => {
    const { code, password, again } = firstForm.parse(request.body ?? {})
    try {
      if (password !== again)
        throw new Failure('bad-input', {
          field: 'again',
          message: 'The two passwords differ. Type the same one twice.',
        })
      const person = await choosePassword(deps, code, password)
      await enter(request, response, await openSession(deps, person.id))
      response.redirect(303, '/desk')
    } catch (error) {
      sendTrouble(response, error, firstPage)
    }
  })

  router.post('/sign-out', async (request, response) => {
    const token = cookie.read(request)
    if (token !== null) await signOut(deps, token)
    cookie.clear(response)
    // Whatever the browser still keeps of us goes too: the next person may sit at this very machine.
    response.set('Clear-Site-Data', '"cache", "storage"').redirect(303, '/sign-in')
  })
  router.use(['/sign-in', '/sign-out'], plainTrouble)
  return router

  /** A session of before is ended: a token given to somebody in advance is worth nothing. */
  async function enter(request: Request, response: Response, token: string): Promise<void> {
    const before = cookie.read(request)
    if (before !== null) await signOut(deps, before)
    cookie.set(response, token)
  }
}

/** Only addresses of our own pages: anything else leads to the desk. */
export function localPath(wanted: unknown): string {
  return typeof wanted === 'string' &&
    /^\/(desk|account)(?:[/?][\w/?&=.%,:@+-]*)?$/.test(wanted) &&
    !wanted.includes('//')
    ? wanted
    : '/desk'
}

export function sendPage(response: Response, status: number, page: Html): void {
  response.status(status).type('html').set('Cache-Control', 'no-store').send(page.text)
}

/** Shows a form again with what was wrong; anything unforeseen goes on to the problem handler. */
export function sendTrouble(response: Response, error: unknown, page: (trouble: string) => Html): void {
  if (!(error instanceof Failure)) throw error
  sendPage(response, toProblem(error).status, page(error.detail.message))
}

/** What has no form to be shown in. */
export const plainTrouble: ErrorRequestHandler = (error, _request, response, next) => {
  if (response.headersSent || !(error instanceof Failure)) return next(error)
  const { status, title, detail } = toProblem(error)
  sendPage(
    response,
    status,
    accessPage(title, html`<p class="trouble" role="alert">${detail}</p><p><a href="/sign-in">Sign in</a></p>`),
  )
}

export function accessPage(title: string, body: Child): Html {
  return html`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>${title}, Daysix</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/assets/sign-in.css">
</head>
<body>
<main>
<h1>${title}</h1>
${body}
</main>
<footer><p><a href="/cautions">Cautions</a></p></footer>
</body>
</html>
`
}

const said = (trouble: string | undefined) =>
  trouble !== undefined && html`<p class="trouble" role="alert">${trouble}</p>`

function signInPage(to: string, provider: boolean, trouble?: string): Html {
  return accessPage(
    'Sign in',
    html`${said(trouble)}
<form method="post" action="/sign-in">
<input type="hidden" name="to" value="${to}">
<label for="login">Name</label><input id="login" name="login" required autocomplete="username" maxlength="64">
<label for="password">Password</label><input id="password" name="password" type="password" required
  autocomplete="current-password" maxlength="400">
<label for="code">Code from your code generator, if you use one</label><input id="code" name="code" inputmode="numeric"
  autocomplete="one-time-code" maxlength="20">
<button>Sign in</button>
</form>
${provider && html`<p><a href="/sign-in/elsewhere/start">Sign in with your organisation’s account</a></p>`}
<p><a href="/sign-in/first">I have a one-time code</a></p>`,
  )
}

function firstPage(trouble?: string): Html {
  return accessPage(
    'Choose a password',
    html`${said(trouble)}
<form method="post" action="/sign-in/first">
<label for="code">One-time code</label><input id="code" name="code" required autocomplete="off" maxlength="64">
<label for="password">New password (12 characters or more)</label><input id="password" name="password" type="password"
  required autocomplete="new-password" minlength="12" maxlength="128">
<label for="again">The same again</label><input id="again" name="again" type="password" required
  autocomplete="new-password" minlength="12" maxlength="128">
<button>Choose it</button>
</form>`,
  )
}
