import { DateTime } from 'luxon'
import { toE164 } from '../../../domain/patients/phone.ts'
import { knownZone } from '../../../domain/local-time.ts'
import { languagesOnOffer } from '../../../flows/messages/approved-texts.ts'
import { closeFollowUp } from '../../../flows/calls/close-follow-up.ts'
import { badInput } from '../../../domain/failure.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import { addOpenings, listOpenings, removeOpening } from '../../../flows/visits/manage-openings.ts'
import { settleMove } from '../../../flows/visits/move-visit.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { REGION } from '../../../flows/messages/stop-sending.ts'
import { route, type Route } from '../route.ts'
import { clinicSchema, closingSchema, followUpListSchema, openingListSchema, openingsSchema, settleSchema } from '../schemas.ts'
import { followUpView, slotView } from '../views.ts'

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

export function followUpRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/follow-ups',
      access: { may: 'calls:read', namesClinic: true },
      summary: 'The call list: what a person must do, most urgent and oldest first.',
      query: followUpListSchema,
      answers: { 200: 'Follow-ups with reason, age and what to do.' },
      handle: async ({ query: { clinic, state, limit } }) => {
        const list = await deps.store.read.followUps.list({ ...(clinic && { clinicId: clinic }), open: state === 'open', limit })
        return { status: 200, body: { followUps: list.map((each) => followUpView(each, deps.clock.now())) } }
      },
    }),
    route({
      method: 'post',
      path: '/follow-ups/{id}/close',
      access: { may: 'calls:write' },
      summary: 'Close a follow-up: who, and what came of it.',
      body: closingSchema,
      answers: { 200: 'The closed follow-up.' },
      handle: async ({ params, body }) => {
        const closed = await closeFollowUp(deps, params.id!, body.by, body.outcome)
        deps.notice('follow-up-closed', { followUp: closed.id })
        return { status: 200, body: { followUp: followUpView(closed, deps.clock.now()) } }
      },
    }),
    route({
      method: 'post',
      path: '/offers/{id}/settle',
      access: { may: 'visits:write' },
      summary: "Approve or decline a patient's choice, where the clinic wants to.",
      body: settleSchema,
      answers: { 204: 'Settled; the patient is told.' },
      handle: async ({ params, body }) => {
        await settleMove(deps, params.id!, body.approve, body.by)
        return { status: 204 }
      },
    }),
  ]
}

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
      summary: 'All clinics with their rules.',
      answers: { 200: 'The clinics.' },
      handle: async () => ({ status: 200, body: { clinics: await deps.store.read.clinics.list() } }),
    }),
    route({
      method: 'put',
      path: '/clinics/{clinic}',
      access: { may: 'clinics:write' },
      summary: 'Add a clinic or change its rules.',
      body: clinicSchema,
      answers: { 200: 'The clinic.' },
      handle: async ({ params, body }) => {
        if (params.clinic === REGION) badInput('id', 'This word stands for all clinics. Choose another id.')
        const clinic = { id: params.clinic!, ...body, phone: toE164(body.phone, body.country), zone: knownZone(body.zone) }
        await deps.store.transact((tx) => tx.clinics.put(clinic))
        return { status: 200, body: { clinic } }
      },
    }),
  ]
}
