import express, { Router } from 'express'
import { Failure } from '../../../domain/failure.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import type { Wording } from '../../templates/load-wording.ts'
import { LARGEST_FORM, MOST_FIELDS } from '../desk/form-limits.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { mountAudit } from './audit-page.ts'
import { mountClinics } from './clinics-page.ts'
import { mountGateways } from './gateways-page.ts'
import { mountKeys } from './keys-page.ts'
import { mountPeople } from './people-page.ts'
import { mountProtocols } from './protocols-page.ts'
import { mountReplies } from './replies-page.ts'
import { mountRetention } from './retention-page.ts'
import { mountSetUp } from './set-up-page.ts'
import { SettingsPages } from './settings-pages.ts'

const MOUNTS = [
  mountSetUp,
  mountClinics,
  mountGateways,
  mountPeople,
  mountKeys,
  mountProtocols,
  mountRetention,
  mountReplies,
  mountAudit,
]

/** The administrators' pages: `/settings/…`. Rendered here; they work without scripts. */
export function settings(deps: Deps, wording: Wording): Router {
  const router = Router()
  router.use(onlyOwnForms, express.urlencoded({ extended: false, limit: LARGEST_FORM, parameterLimit: MOST_FIELDS }))
  const own = new SettingsPages(router, deps, wording.library)
  for (const mount of MOUNTS) mount(own)
  router.use((_request, _response, next) => next(new Failure('not-found', { message: 'There is no such page.' })))
  return router
}
