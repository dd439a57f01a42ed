import type { ErrorRequestHandler, Response } from 'express'
import { Failure } from '../../../domain/failure.ts'
import { head } from '../pages/head.ts'
import { html, type Child, type Html } from '../pages/html.ts'
import { sendPage } from '../pages/send-page.ts'
import { isOfDatabase, noteAway, toProblem } from '../problem.ts'

/** Shows a form again with what was wrong; anything unforeseen goes on to the problem handler. */
export function sendTrouble(response: Response, error: unknown, page: (trouble: string) => Html): void {
  if (!(error instanceof Failure)) throw error
  sendPage(response, toProblem(error, response.req).status, page(error.detail.message))
}

/** What has no form to be shown in. The unforeseen is for the problem handler; that a store is away is not. */
export const plainTrouble: ErrorRequestHandler = (error, request, response, next) => {
  const { status, title, detail, code } = toProblem(error, request)
  if (response.headersSent || code === 'internal') return next(error)
  response.locals.code = code
  if (isOfDatabase(response)) noteAway(response, error)
  sendPage(response, status, accessPage(title, html`${said(detail)}<p><a href="/sign-in">Sign in</a></p>`))
}

export function accessPage(title: string, body: Child): Html {
  return html`<!doctype html>
<html lang="en">
${head(`${title}, Daysix`, html`<link rel="stylesheet" href="/desk/assets/desk.css">`)}
<body>
<main id="content" class="entrance">
<h1>${title}</h1>
${body}
</main>
<footer><p><a href="/cautions">Cautions</a></p></footer>
</body>
</html>
`
}

export const said = (trouble: string | undefined) =>
  trouble !== undefined && html`<p class="fault" role="alert">${trouble}</p>`

interface SignIn {
  to: string
  /** People may sign in elsewhere too. */
  provider: boolean
  /** A form that waits for it, as JSON. */
  carried?: string
  trouble?: string
}

export function signInPage({ to, provider, carried = '', trouble }: SignIn): Html {
  return accessPage(
    'Sign in',
    html`${said(trouble)}
<form method="post" action="/sign-in">
<input type="hidden" name="to" value="${to}">
${carried !== '' && html`<input type="hidden" name="carried" value="${carried}">`}
<label for="login">Name</label><input id="login" name="login" required autocomplete="username" maxlength="64">
<label for="password">Password</label><input id="password" name="password" type="password" required
  autocomplete="current-password" maxlength="400">
<label for="code">Code from your code generator, if you use one</label><input id="code" name="code" inputmode="numeric"
  autocomplete="one-time-code" maxlength="20">
<button class="main">Sign in</button>
</form>
${provider && html`<p><a href="/sign-in/elsewhere/start">Sign in with your organisation’s account</a></p>`}
<p><a href="/sign-in/first">I have a one-time code</a></p>`,
  )
}
