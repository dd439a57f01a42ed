import * as z from 'zod'
import type { Deps } from '../../../../flows/ports/deps.ts'
import { searchSet } from '../../../schedule/fhir/emit/bundles.ts'
import { searchCapability } from '../../../schedule/fhir/emit/capability.ts'
import { route, type Answer, type Asked, type Route } from '../../route.ts'
import { addressOf } from './address.ts'
import { appointment, appointments } from './find-visits.ts'
import { communications, slots, tasks } from './find-others.ts'
import { fhir } from './answer.ts'
import { common, messageQuery, slotQuery, taskQuery, visitQuery, type Found } from './queries.ts'

export const FHIR_PATH = '/api/v1/fhir'

/** What Daysix knows, to be searched in FHIR R4. */
export function fhirSearchRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/fhir/metadata',
      access: { may: 'signed-in', quiet: true },
      summary: 'FHIR R4 CapabilityStatement: what can be searched.',
      answers: { 200: 'The statement.' },
      handle: async ({ request }) => fhir(200, searchCapability(addressOf(request, FHIR_PATH))),
    }),
    route({
      method: 'get',
      path: '/fhir/Appointment',
      access: { may: 'visits:read', namesClinic: true },
      summary: 'Visits as FHIR R4 Appointments, in order of time, a page at a time.',
      query: visitQuery,
      answers: { 200: 'A searchset.' },
      handle: async (asked) => page(asked, await appointments(deps, asked.query)),
    }),
    route({
      method: 'get',
      path: '/fhir/Appointment/{id}',
      access: { may: 'visits:read' },
      summary: 'One visit as FHIR R4 Appointment.',
      query: z.strictObject(common),
      answers: { 200: 'The Appointment.' },
      handle: async ({ params }) => fhir(200, await appointment(deps, params.id!)),
    }),
    route({
      method: 'get',
      path: '/fhir/Slot',
      access: { may: 'visits:read', namesClinic: true },
      summary: 'Times of a clinic as FHIR R4 Slots: free, held, taken.',
      query: slotQuery,
      answers: { 200: 'A searchset.' },
      handle: async (asked) => page(asked, await slots(deps, asked.query)),
    }),
    route({
      method: 'get',
      path: '/fhir/Communication',
      access: { may: 'visits:read' },
      summary: 'How the messages of a visit stand, as FHIR R4 Communications.',
      query: messageQuery,
      answers: { 200: 'A searchset.' },
      handle: async (asked) => page(asked, await communications(deps, asked.query.about)),
    }),
    route({
      method: 'get',
      path: '/fhir/Task',
      access: { may: 'calls:read', namesClinic: true },
      summary: 'Open calls as FHIR R4 Tasks: what is to be done, not why.',
      query: taskQuery,
      answers: { 200: 'A searchset.' },
      handle: async (asked) => page(asked, await tasks(deps, asked.query)),
    }),
  ]
}

function page({ request }: Pick<Asked<unknown, unknown>, 'request'>, { found, cursor, outcome }: Found): Answer {
  const self = addressOf(request, request.originalUrl)
  const next = cursor === undefined ? null : new URL(self)
  next?.searchParams.set('_cursor', cursor!)
  const links = { base: addressOf(request, FHIR_PATH), self: new URL(self).href, next: next?.href ?? null }
  return fhir(200, searchSet({ ...links, found, outcome: outcome ?? null }))
}
