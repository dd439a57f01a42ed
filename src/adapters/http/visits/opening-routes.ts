import type { Deps } from '../../../flows/ports/deps.ts'
import { type Route, route } from '../route.ts'
import { openingsSchema, openingListSchema } from '../schemas.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import { addOpenings, listOpenings, removeOpening } from '../../../flows/visits/manage-openings.ts'
import { slotView } from '../views.ts'
import { DateTime } from 'luxon'

export function openingRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'post',
      path: '/openings',
      access: { may: 'visits:write', namesClinic: true },
      summary: 'Add openings: free times a visit could move to.',
      body: openingsSchema,
      answers: { 201: 'Which were added, and which existed already.' },
      handle: async ({ body }) => {
        const clinic = orNotFound(await deps.store.read.clinics.get(body.clinic), 'clinic')
        const { added, existed } = await addOpenings(deps, body)
        return { status: 201, body: { added: added.map((slot) => slotView(slot, clinic.zone)), existed } }
      },
    }),
    route({
      method: 'get',
      path: '/openings',
      access: { may: 'visits:read', namesClinic: true },
      summary: 'List free and held openings of a clinic.',
      query: openingListSchema,
      answers: { 200: 'The openings, in order of time.' },
      handle: async ({ query }) => {
        const { zone } = orNotFound(await deps.store.read.clinics.get(query.clinic), 'clinic')
        const start = (date: string) => DateTime.fromISO(date, { zone }).toJSDate()
        const interval = { ...(query.from && { from: start(query.from) }), ...(query.to && { to: start(query.to) }) }
        const slots = await listOpenings(deps, { clinicId: query.clinic, limit: query.limit, ...interval })
        return { status: 200, body: { openings: slots.map((slot) => slotView(slot, zone)) } }
      },
    }),
    route({
      method: 'delete',
      path: '/openings/{id}',
      access: { may: 'visits:write' },
      summary: 'Remove a free opening.',
      answers: { 204: 'Removed.' },
      handle: async ({ params }) => {
        await removeOpening(deps, params.id!)
        return { status: 204 }
      },
    }),
  ]
}
