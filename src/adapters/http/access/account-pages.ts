import express, { Router, type Request } from 'express'
import * as z from 'zod'
import encodeQR from 'qr'
import { Failure, badInput } from '../../../domain/failure.ts'
import type { Person } from '../../../flows/ports/access.ts'
import { changePassword, personOf, setTotp } from '../../sign-in/sign-in.ts'
import { newTotpSecret, totpAddress, totpStepOf } from '../../sign-in/totp.ts'
import { passwordFits } from '../../sign-in/passwords.ts'
import type { Gate } from './gate.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { Html, html } from '../pages/html.ts'
import { sendPage } from '../pages/send-page.ts'
import { accessPage, plainTrouble, said, sendTrouble } from './access-page.ts'

const text = (most: number) => z.string().max(most).default('')
const passwordForm = z.object({ old: text(400), password: text(400), again: text(400) })
const codesForm = z.object({ old: text(400), secret: text(64), code: text(20), end: text(5) })

/** `/account`: one's own password and code generator. */
export function accountPages({ deps, settings, cookie, limits }: Gate): Router {
  const router = Router()
  router.use('/account', onlyOwnForms, express.urlencoded({ extended: false, limit: '4kb', parameterLimit: 20 }))
  router.get('/account', async (request, response) =>
    sendPage(response, 200, page(await self(request), newTotpSecret(), {})),
  )

  router.post('/account/password', limits.signIn, async (request, response) => {
    const person = await self(request)
    const { old, password, again } = passwordForm.parse(request.body ?? {})
    try {
      if (password !== again) badInput('again', 'The two passwords differ. Type the same one twice.')
      cookie.set(response, await changePassword(deps, person, old, password))
      sendPage(
        response,
        200,
        page(person, newTotpSecret(), { done: 'Your password is changed. You are signed out everywhere else.' }),
      )
    } catch (error) {
      sendTrouble(response, error, (trouble) => page(person, newTotpSecret(), { trouble }))
    }
  })

  router.post('/account/codes', limits.signIn, async (request, response) => {
    const person = await self(request)
    const form = codesForm.parse(request.body ?? {})
    try {
      if (!(await passwordFits(person.passwordHash, form.old)))
        throw new Failure('unauthorized', { field: 'old', message: 'This is not your password.' })
      await (form.end === 'yes' ? setTotp(deps, person, null, 0) : begin(person, form))
      sendPage(
        response,
        200,
        page(await self(request), newTotpSecret(), {
          done: form.end === 'yes' ? 'No code is asked for any more.' : 'From now on you are asked for a code.',
        }),
      )
    } catch (error) {
      sendTrouble(response, error, (trouble) => page(person, newTotpSecret(), { trouble }))
    }
  })
  router.use('/account', plainTrouble)
  return router

  async function self(request: Request): Promise<Person> {
    const token = cookie.read(request)
    const person = token === null ? null : await personOf(deps, token, settings.idleMs)
    if (!person) throw new Failure('unauthorized', { message: 'You are not signed in, or not any more.' })
    return person
  }

  /** The first code proves that the generator has the secret. */
  async function begin(person: Person, { secret, code }: z.infer<typeof codesForm>): Promise<void> {
    if (!/^[A-Z2-7]{32}$/.test(secret)) badInput('secret', 'Open the page again and use the secret it shows.')
    const step = totpStepOf(secret, person.login, code, deps.clock.now())
    if (step === null) badInput('code', 'This code does not belong to the secret. Check the clock of your telephone.')
    await setTotp(deps, person, secret, step)
  }
}

function page(person: Person, secret: string, { done, trouble }: { done?: string; trouble?: string }): Html {
  return accessPage(
    'Your account',
    html`${done !== undefined && html`<p class="said" role="status">${done}</p>`}
${said(trouble)}
<p>${person.name} (${person.login}), ${person.role}</p>
<p><a href="/desk">To the desk</a></p>
<form method="post" action="/sign-out"><button>Sign out</button></form>
${person.passwordHash !== null && [passwordPart(), codesPart(person, secret)]}`,
  )
}

function passwordPart(): Html {
  return html`<h2>Password</h2>
<form method="post" action="/account/password">
<label for="old">Password now</label><input id="old" name="old" type="password" required autocomplete="current-password"
  maxlength="400">
<label for="password">New password (12 characters or more)</label><input id="password" name="password" type="password"
  required autocomplete="new-password" minlength="12" maxlength="128">
<label for="again">The same again</label><input id="again" name="again" type="password" required
  autocomplete="new-password" minlength="12" maxlength="128">
<button class="main">Change it</button>
</form>`
}

function codesPart({ totp, login }: Person, secret: string): Html {
  const password = html`<label for="codes-old">Password now</label><input id="codes-old" name="old" type="password"
    required autocomplete="current-password" maxlength="400">`
  if (totp !== null) {
    return html`<h2>Codes</h2>
<p>At sign-in you are asked for a code.</p>
<form method="post" action="/account/codes"><input type="hidden" name="end"
  value="yes">${password}<button>Ask for no code any more</button></form>`
  }
  return html`<h2>Codes</h2>
<p>A code generator on your telephone makes a stolen password worthless. Let it read this picture, or type the secret
there; then enter the code that it shows.</p>
<div class="code-picture">${picture(totpAddress(secret, login))}</div>
<p><code>${secret}</code></p>
<p><a href="${totpAddress(secret, login)}">Open in a code generator on this device</a></p>
<form method="post" action="/account/codes"><input type="hidden" name="secret" value="${secret}">${password}
<label for="first-code">Code</label><input id="first-code" name="code" required inputmode="numeric"
  autocomplete="one-time-code" maxlength="20">
<button class="main">Ask for a code from now on</button></form>`
}

/** A QR code (ISO/IEC 18004) of our own drawing: no picture is asked of anybody else. */
function picture(address: string): Html {
  const drawn = encodeQR(address, 'svg')
  return new Html(
    drawn.slice(drawn.indexOf('<svg')).replace('<svg', '<svg role="img" aria-label="QR code of the secret"'),
  )
}
