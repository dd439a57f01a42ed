import express, { Router, type Request, type Response } from 'express'
import * as z from 'zod'
import encodeQR from 'qr'
import { Failure, badInput } from '../../../domain/failure.ts'
import type { Person } from '../../../flows/ports/access.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { beginCodes, changePassword, endCodes, offerSecret } from '../../sign-in/own-account.ts'
import { personOf } from '../../sign-in/sign-in.ts'
import { totpAddress } from '../../sign-in/totp.ts'
import { addressOf, countFailure } from './failure-limit.ts'
import type { Gate } from './gate.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { Html, html } from '../pages/html.ts'
import { sendPage } from '../pages/send-page.ts'
import { accessPage, plainTrouble, said, sendTrouble } from './access-page.ts'

const text = (most: number) => z.string().max(most).default('')
const passwordForm = z.object({ old: text(400), password: text(400), again: text(400) })
const codesForm = z.object({ old: text(400), offer: text(600), code: text(20), end: text(5) })

type Seals = Deps['seals']

/** `/account`: one's own password and code generator. @param seals seal the secret that the page offers */
export function accountPages({ deps, settings, cookie, limits }: Gate, seals: Seals): Router {
  const router = Router()
  const tries = [limits.signIn, limits.failures.refuse]
  router.use('/account', onlyOwnForms, express.urlencoded({ extended: false, limit: '4kb', parameterLimit: 20 }))
  router.get('/account', async (request, response) => sendPage(response, 200, page(await self(request))))

  router.post('/account/password', tries, async (request: Request, response: Response) => {
    const person = await self(request)
    const { old, password, again } = passwordForm.parse(request.body ?? {})
    await changed(request, response, person, 'Your password is changed.', () => {
      if (password !== again) badInput('again', 'The two passwords differ. Type the same one twice.')
      return changePassword(deps, person, { old, wanted: password }, addressOf(request))
    })
  })

  router.post('/account/codes', tries, async (request: Request, response: Response) => {
    const person = await self(request)
    const { old: password, code, offer, end } = codesForm.parse(request.body ?? {})
    const done = end === 'yes' ? 'No code is asked for any more.' : 'From now on you are asked for a code.'
    await changed(request, response, person, done, () =>
      end === 'yes'
        ? endCodes(deps, person, { password, code }, addressOf(request))
        : beginCodes({ ...deps, seals }, person, { password, code, offer }, addressOf(request)),
    )
  })
  router.use('/account', plainTrouble)
  return router

  /** Every change here ends all sessions, and goes on with a new one. */
  async function changed(
    request: Request,
    response: Response,
    person: Person,
    done: string,
    change: () => Promise<string>,
  ): Promise<void> {
    try {
      cookie.set(response, await change())
      const now = (await deps.access.read.persons.get(person.id))!
      sendPage(response, 200, page(now, { done: `${done} You are signed out everywhere else.` }))
    } catch (error) {
      countFailure(limits, request, error)
      sendTrouble(response, error, (trouble) => page(person, { trouble }))
    }
  }

  async function self(request: Request): Promise<Person> {
    const token = cookie.read(request)
    const person = token === null ? null : await personOf(deps, token, settings.idleMs)
    if (!person) throw new Failure('unauthorized', { message: 'You are not signed in, or not any more.' })
    return person
  }

  function page(person: Person, said: Said = {}): Html {
    return accountPage(person, offerSecret(seals, person, deps.clock.now()), said)
  }
}

interface Said {
  done?: string
  trouble?: string
}
type Offer = ReturnType<typeof offerSecret>

function accountPage(person: Person, offer: Offer, { done, trouble }: Said): Html {
  return accessPage(
    'Your account',
    html`${done !== undefined && html`<p class="said" role="status">${done}</p>`}
${said(trouble)}
<p>${person.name} (${person.login}), ${person.role}</p>
<p><a href="/desk">To the desk</a></p>
<form method="post" action="/sign-out"><button>Sign out</button></form>
${person.passwordHash !== null && [passwordPart(), codesPart(person, offer)]}`,
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

function codesPart({ totp, login }: Person, { secret, sealed }: Offer): Html {
  const password = html`<label for="codes-old">Password now</label><input id="codes-old" name="old" type="password"
    required autocomplete="current-password" maxlength="400">`
  if (totp !== null) {
    return html`<h2>Codes</h2>
<p>At sign-in you are asked for a code. To end that, give one that you have not used yet. Whoever has lost the code
generator asks an administrator for a one-time code.</p>
<form method="post" action="/account/codes"><input type="hidden" name="end" value="yes">${password}${codeField()}
<button>Ask for no code any more</button></form>`
  }
  return html`<h2>Codes</h2>
<p>A code generator on your telephone makes a stolen password worthless. Let it read this picture, or type the secret
there; then enter the code that it shows.</p>
<div class="code-picture">${picture(totpAddress(secret, login))}</div>
<p><code>${secret}</code></p>
<p><a href="${totpAddress(secret, login)}">Open in a code generator on this device</a></p>
<form method="post" action="/account/codes"><input type="hidden" name="offer" value="${sealed}">${password}
${codeField()}
<button class="main">Ask for a code from now on</button></form>`
}

function codeField(): Html {
  return html`<label for="first-code">Code</label><input id="first-code" name="code" required inputmode="numeric"
  autocomplete="one-time-code" maxlength="20">`
}

/** A QR code (ISO/IEC 18004) of our own drawing: no picture is asked of anybody else. */
function picture(address: string): Html {
  const drawn = encodeQR(address, 'svg')
  return new Html(
    drawn.slice(drawn.indexOf('<svg')).replace('<svg', '<svg role="img" aria-label="QR code of the secret"'),
  )
}
