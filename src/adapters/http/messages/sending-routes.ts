import type { Request } from 'express'
import type { SendingStop } from '../../../flows/ports/access.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { REGION, resumeSending, stopSending, type Hand } from '../../../flows/messages/stop-sending.ts'
import { route, type Route } from '../route.ts'
import { resumeSchema, stopSchema } from '../schemas.ts'

/** The one switch for all sending, of a clinic or of everybody. */
export function sendingRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/sending',
      access: { may: 'service:read', quiet: true },
      summary: 'Where sending is stopped, since when, by whom and why.',
      answers: { 200: 'The stops; none where messages go out.' },
      handle: async () => ({
        status: 200,
        body: { stopped: (await deps.access.read.sendingStops.list()).map(stopView) },
      }),
    }),
    route({
      method: 'post',
      path: '/sending/stop',
      access: { may: 'sending:stop', namesClinic: true },
      summary:
        'Stop all sending, of a clinic or of everybody, at once. What is at the gateways already cannot be called back.',
      body: stopSchema,
      answers: { 200: 'The stop.' },
      handle: async ({ body, request }) => ({
        status: 200,
        body: { stopped: stopView(await stopSending(deps, body.clinic ?? REGION, body.why, handOf(request))) },
      }),
    }),
    route({
      method: 'post',
      path: '/sending/resume',
      access: { may: 'sending:stop', namesClinic: true },
      summary: 'Let sending go on. Says what becomes of what was due meanwhile.',
      body: resumeSchema,
      answers: { 200: 'How many messages that were due are not sent any more.' },
      handle: async ({ body, request }) => ({
        status: 200,
        body: { dropped: await resumeSending(deps, body.clinic ?? REGION, body.backlog, handOf(request)) },
      }),
    }),
  ]
}

export function handOf({ actor }: Request): Hand {
  const { kind, id, name } = actor!
  return { kind, id, by: name }
}

function stopView({ scope, at, by, why }: SendingStop) {
  return { clinic: scope === REGION ? null : scope, since: at.toISOString(), by, why }
}
