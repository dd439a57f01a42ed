import { Router } from 'express'
import type { Provider } from '../../sign-in/oidc.ts'
import { signInAs } from '../../sign-in/sign-in.ts'
import { readCookie } from './cookies.ts'
import type { Gate } from './gate.ts'
import { plainTrouble } from './access-page.ts'

const PENDING = 'daysix-elsewhere'
const PATH = '/sign-in/elsewhere'

/** `/sign-in/elsewhere`: to the identity provider and back. */
export function elsewherePages({ deps, cookie, limits, settings }: Gate, provider: Provider): Router {
  const router = Router()
  // Lax, since the provider's answer comes as a visit from another site.
  const options = { httpOnly: true, secure: settings.secure, sameSite: 'lax', path: PATH } as const

  // A link and not a form: browsers hold the rule on where forms may lead (CSP form-action) against redirects too.
  router.get(`${PATH}/start`, limits.signIn, async (_request, response) => {
    const { to, cookie: pending } = await provider.begin(deps.clock.now())
    response.cookie(PENDING, pending, options).redirect(303, to)
  })

  router.get(PATH, limits.signIn, async (request, response) => {
    const pending = readCookie(request, PENDING)
    response.clearCookie(PENDING, options)
    const subject = await provider.finish(
      new URL(request.originalUrl, 'http://here.invalid'),
      pending ?? '',
      deps.clock.now(),
    )
    cookie.set(response, await signInAs(deps, subject))
    response.redirect(303, '/desk')
  })
  router.use(PATH, plainTrouble)
  return router
}
