import { Router } from 'express'
import type { Deps } from '../../../flows/ports/deps.ts'
import { openApi } from '../openapi.ts'
import type { Rule } from '../access/rules.ts'
import { mount, rulesOf, type Route } from '../route.ts'
import { bookingRoutes } from '../visits/booking-routes.ts'
import { accessRoutes } from '../access/access-routes.ts'
import { rightsRoutes } from '../patients/rights-routes.ts'
import { sendingRoutes } from '../messages/sending-routes.ts'
import { clinicRoutes } from '../region/clinic-routes.ts'
import { feedRoutes } from '../schedule/feed-routes.ts'
import { fhirIntakeRoutes } from '../schedule/fhir/intake-routes.ts'
import { fhirSearchRoutes } from '../schedule/fhir/search-routes.ts'
import { nearMissRoutes } from '../region/near-miss-routes.ts'
import { followUpRoutes } from '../calls/follow-up-routes.ts'
import { openingRoutes } from '../visits/opening-routes.ts'

export const API_BASE = '/api/v1'

/** The description of the API itself, which everybody who is signed in may read. */
const DESCRIPTION: Rule = { methods: ['GET'], path: `${API_BASE}/openapi.json`, may: 'signed-in', quiet: true }

/** Every operation of the API. */
export function apiRoutes(deps: Deps): Route[] {
  return [
    ...bookingRoutes(deps),
    ...openingRoutes(deps),
    ...followUpRoutes(deps),
    ...clinicRoutes(deps),
    ...accessRoutes(deps),
    ...rightsRoutes(deps),
    ...sendingRoutes(deps),
    ...nearMissRoutes(deps),
    ...feedRoutes(deps),
    ...fhirIntakeRoutes(deps),
    ...fhirSearchRoutes(deps),
  ]
}

/** Who may use what. @throws Error naming an operation that does not say so */
export function apiRules(routes: readonly Route[]): Rule[] {
  return [DESCRIPTION, ...rulesOf(API_BASE, routes)]
}

/** The JSON API with its own description. */
export function api(routes: readonly Route[]): Router {
  const router = Router()
  const document = openApi(routes, API_BASE)
  router.get('/openapi.json', (_request, response) => void response.json(document))
  mount(router, routes)
  return router
}
