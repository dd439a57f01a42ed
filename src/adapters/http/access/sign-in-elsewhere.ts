import { Router } from 'express'
import type { Provider } from '../../sign-in/oidc.ts'
import { signInAs } from '../../sign-in/sign-in.ts'
import { readCookie } from './cookies.ts'
import type { Gate } from './gate.ts'
import { plainTrouble } from './access-page.ts'

/** With the prefix browsers take it only from us, over TLS, for the whole site (RFC 6265bis). */
const SECURE_PENDING = '__Host-daysix-elsewhere'
const PLAIN_PENDING = 'daysix-elsewhere'
const PATH = '/sign-in/elsewhere'

/** `/sign-in/elsewhere`: to the identity provider and back. */
export function elsewherePages({ deps, cookie, limits, settings }: Gate, provider: Provider): Router {
  const router = Router()
  const { secure } = settings
  const name = secure ? SECURE_PENDING : PLAIN_PENDING
  // Lax, since the provider's answer comes as a visit from another site.
  const options = { httpOnly: true, secure, sameSite: 'lax', path: secure ? '/' : PATH } as const
  /** An answer is taken once, whatever its provider thinks of codes that are used twice. */
  const spend = (state: string) =>
    deps.access.transact((tx) => tx.tries.spend(tx.tries.printOf(`elsewhere ${state}`), deps.clock.now()))

  // A link and not a form: browsers hold the rule on where forms may lead (CSP form-action) against redirects too.
  router.get(`${PATH}/start`, limits.signIn, async (_request, response) => {
    const { to, cookie: pending } = await provider.begin(deps.clock.now())
    response.cookie(name, pending, options).redirect(303, to)
  })

  router.get(PATH, limits.signIn, async (request, response) => {
    const pending = readCookie(request, name)
    response.clearCookie(name, options)
    const answer = new URL(request.originalUrl, 'http://here.invalid')
    const vouched = await provider.finish(answer, pending ?? '', deps.clock.now(), spend)
    cookie.set(response, await signInAs(deps, vouched))
    response.redirect(303, '/desk')
  })
  router.use(PATH, plainTrouble)
  return router
}
