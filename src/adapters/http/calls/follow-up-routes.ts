import type { Deps } from '../../../flows/ports/deps.ts'
import type { FollowUp } from '../../../domain/calls/follow-up.ts'
import { type Route, route } from '../route.ts'
import { followUpListSchema, closingSchema, settleSchema } from '../schemas.ts'
import { followUpView } from '../views.ts'
import { closeFollowUp } from '../../../flows/calls/close-follow-up.ts'
import { settleMove } from '../../../flows/visits/move-visit.ts'

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
        const list = await deps.store.read.followUps.list({
          ...(clinic && { clinicId: clinic }),
          open: state === 'open',
          limit,
        })
        return { status: 200, body: { followUps: await viewsOf(deps, list) } }
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
        const [followUp] = await viewsOf(deps, [closed])
        return { status: 200, body: { followUp } }
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

/** With whom they are about: one query for all. */
async function viewsOf(deps: Deps, followUps: readonly FollowUp[]) {
  const ids = new Set(followUps.flatMap(({ patientId }) => patientId ?? []))
  const patients = new Map((await deps.store.read.patients.many([...ids])).map((each) => [each.id, each]))
  const now = deps.clock.now()
  return followUps.map((each) => followUpView(each, now, patients.get(each.patientId ?? '') ?? null))
}
