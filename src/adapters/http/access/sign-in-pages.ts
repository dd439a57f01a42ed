import express, { Router, type Request, type Response } from 'express'
import * as z from 'zod'
import { Failure } from '../../../domain/failure.ts'
import type { Person } from '../../../flows/ports/access.ts'
import { choosePassword } from '../../sign-in/people.ts'
import { openSession, signIn, signOut } from '../../sign-in/sign-in.ts'
import { addressOf, countFailure } from './failure-limit.ts'
import type { Gate } from './gate.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { html, type Html } from '../pages/html.ts'
import { sendPage } from '../pages/send-page.ts'
import { accessPage, plainTrouble, said, sendTrouble, signInPage } from './access-page.ts'
import { readCarried, sendGoOn } from './carried-form.ts'

/** With a form that is carried over, as text in one field. */
const LARGEST_SIGN_IN = '200kb'
const text = (most: number) => z.string().max(most).default('')

const signInForm = z.object({
  login: text(64),
  password: text(400),
  code: text(20),
  to: text(500),
  carried: text(150_000),
})
const firstForm = z.object({ code: text(64), password: text(400), again: text(400) })

/**
 * `/sign-in`, `/sign-in/first` (one-time code), `/sign-out`.
 * @param firstPlace where somebody is led who has just chosen a password
 */
export function signInPages(gate: Gate, firstPlace: (person: Person) => Promise<string>): Router {
  const router = Router()
  const { deps, cookie, limits } = gate
  const provider = gate.settings.provider !== undefined
  router.use(
    ['/sign-in', '/sign-out'],
    onlyOwnForms,
    express.urlencoded({ extended: false, limit: LARGEST_SIGN_IN, parameterLimit: 20 }),
  )
  const tries = [limits.signIn, limits.failures.refuse]

  router.get('/sign-in', (request, response) =>
    sendPage(response, 200, signInPage({ to: localPath(request.query.to), provider })),
  )
  router.post('/sign-in', tries, async (request: Request, response: Response) => {
    const { to, carried, ...credentials } = signInForm.parse(request.body ?? {})
    try {
      await enter(request, response, await signIn(deps, credentials, addressOf(request)))
      const form = readCarried(carried)
      if (form) sendGoOn(response, form)
      else response.redirect(303, localPath(to))
    } catch (error) {
      countFailure(limits, request, error)
      sendTrouble(response, error, (trouble) => signInPage({ to: localPath(to), provider, carried, trouble }))
    }
  })

  router.get('/sign-in/first', (_request, response) => sendPage(response, 200, firstPage()))
  router.post('/sign-in/first', tries, async (request: Request, response: Response) => {
    const { code, password, again } = firstForm.parse(request.body ?? {})
    try {
      if (password !== again)
        throw new Failure('bad-input', {
          field: 'again',
          message: 'The two passwords differ. Type the same one twice.',
        })
      const person = await choosePassword(deps, code, password)
      await enter(request, response, await openSession(deps, person.id))
      response.redirect(303, await firstPlace(person))
    } catch (error) {
      countFailure(limits, request, error)
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
    /^\/(desk|account|settings)(?:[/?][\w/?&=.%,:@+-]*)?$/.test(wanted) &&
    !wanted.includes('//')
    ? wanted
    : '/desk'
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
<button class="main">Choose it</button>
</form>`,
  )
}
