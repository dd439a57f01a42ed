import type { Actor, Permission } from '../../../domain/access/roles.ts'
import { isTrial } from '../../../flows/region/in-earnest.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { html, type Html } from '../pages/html.ts'

const ANY_OF: readonly Permission[] = ['clinics:write', 'people:manage', 'audit:read']

/** Whether the settings are shown to somebody: they are about all clinics. */
export function maySettings(actor: Actor | undefined): boolean {
  return actor !== undefined && actor.clinicId === null && ANY_OF.some((permission) => actor.may.includes(permission))
}

/** As long as no gateway reaches anybody, every page says so: nobody shall believe that patients were told. */
export function trialBand(deps: Pick<Deps, 'gateways'>, actor: Actor | undefined): Html | null {
  if (!isTrial(deps)) return null
  const where = deps.gateways.size > 0 ? 'Messages go to simulated phones.' : 'Nothing is set up to carry messages.'
  const link = maySettings(actor) && html` <a href="/settings">Set up the service</a>`
  return html`<p class="note band trial"><b>Trial: nobody is reached.</b> ${where}${link}</p>
`
}
