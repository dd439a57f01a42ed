import { Router } from 'express'
import type { Deps } from '../../../flows/ports/deps.ts'
import { openApi } from '../openapi.ts'
import { mount } from '../route.ts'
import { bookingRoutes } from '../visits/booking-routes.ts'
import { accessRoutes } from '../access/access-routes.ts'
import { rightsRoutes } from '../patients/rights-routes.ts'
import { sendingRoutes } from '../messages/sending-routes.ts'
import { clinicRoutes, followUpRoutes, openingRoutes } from './desk-routes.ts'

export const API_BASE = '/api/v1'

/** The JSON API with its own description. */
export function api(deps: Deps): Router {
  const routes = [...bookingRoutes(deps), ...openingRoutes(deps), ...followUpRoutes(deps), ...clinicRoutes(deps), ...accessRoutes(deps), ...rightsRoutes(deps), ...sendingRoutes(deps)]
  const router = Router()
  const document = openApi(routes, API_BASE)
  router.get('/openapi.json', (_request, response) => void response.json(document))
  mount(router, routes)
  return router
}
