import type { Deps } from '../../../flows/ports/deps.ts'
import { type Route, route } from '../route.ts'
import { languagesOnOffer } from '../../../flows/messages/approved-texts.ts'
import { clinicSchema } from '../schemas.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import { calendarsOf } from '../schedule/calendars.ts'
import { putClinic } from '../../../flows/region/put-clinic.ts'

export function clinicRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/languages',
      access: { may: 'visits:read', quiet: true },
      summary: 'Languages that a patient may be booked in: those whose texts the site has approved.',
      answers: { 200: 'Their codes.' },
      handle: async () => ({ status: 200, body: { languages: languagesOnOffer(deps.approvedTexts) } }),
    }),
    route({
      method: 'get',
      path: '/clinics',
      access: { may: 'clinics:read', quiet: true },
      summary: 'All clinics with their rules; whoever is tied to one sees that one.',
      answers: { 200: 'The clinics.' },
      handle: async ({ request }) => {
        const own = request.actor?.clinicId ?? null
        const clinics = await deps.store.read.clinics.list()
        return { status: 200, body: { clinics: clinics.filter(({ id }) => own === null || id === own) } }
      },
    }),
    route({
      method: 'put',
      path: '/clinics/{clinic}',
      access: { may: 'clinics:write' },
      summary: 'Add a clinic or change its rules.',
      body: clinicSchema,
      answers: { 200: 'The clinic.' },
      handle: async ({ params, body }) => ({
        status: 200,
        body: { clinic: await putClinic(deps, { id: params.clinic!, ...body }) },
      }),
    }),
    route({
      method: 'get',
      path: '/clinics/{clinic}/calendars',
      access: { may: 'visits:read', quiet: true },
      summary: 'Addresses of the calendars of a clinic and of its clinicians: whoever has one sees its visits.',
      answers: { 200: 'Each with whose it is; none where the clinic shows none.' },
      handle: async ({ params }) => ({ status: 200, body: { calendars: await addresses(deps, params.clinic!) } }),
    }),
  ]
}

async function addresses(deps: Deps, id: string) {
  const clinic = orNotFound(await deps.store.read.clinics.get(id), 'clinic')
  return (await calendarsOf(deps, clinic)).map(({ clinician, path }) => ({ clinician: clinician || null, path }))
}
