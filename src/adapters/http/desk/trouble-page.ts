import type { ErrorRequestHandler } from 'express'
import type { Logger } from 'pino'
import { html } from '../pages/html.ts'
import { noteProblem, toProblem } from '../problem.ts'
import { document } from './frame.ts'
import { sendPage } from '../pages/send-page.ts'

/** Answers errors of the desk's pages as a page: what is wrong, how to mend it, and the way back. */
export function troublePage(log: Logger): ErrorRequestHandler {
  return (error, request, response, next) => {
    if (response.headersSent) return next(error)
    const problem = toProblem(error, request)
    noteProblem({ log, what: 'page failed' }, { error, problem }, [request, response])
    const { status, title, detail } = problem
    const body = html`<main id="content" class="trouble">
<h1>${title}</h1>
<p>${detail ?? 'Look first whether it was done, then try again; if it happens again, tell whoever looks after the service.'}</p>
<p>Request ${request.id}</p>
<p><a href="/desk">Back to the desk</a></p>
</main>`
    sendPage(response, status, document(title, body))
  }
}
