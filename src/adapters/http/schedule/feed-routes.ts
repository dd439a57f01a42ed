import express, { type RequestHandler } from 'express'
import * as z from 'zod'
import { Failure } from '../../../domain/failure.ts'
import { wholeDays } from '../../../domain/schedule/completeness.ts'
import { countsOf } from '../../../domain/schedule/check-line.ts'
import { describedFeed } from '../../../flows/schedule/described-feed.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { takeBytes } from '../../schedule/take-bytes.ts'
import { type Route, route } from '../route.ts'

/** A file of ten thousand visits has a few of them. */
const LARGEST = '16mb'

const asBytes = express.raw({ limit: LARGEST, type: () => true })
const NEWS = /^\/feeds\/[^/]+\/news\/?$/

/** Keeps bodies of messages as bytes, apart: nobody looks for JSON or ids of ours in them. */
export const messageBodies: RequestHandler = (request, response, next) => {
  if (request.method !== 'POST' || !NEWS.test(request.path)) return next()
  asBytes(request, response, (error?: unknown) => {
    const body: unknown = request.body
    request.messages = Buffer.isBuffer(body) ? body : Buffer.alloc(0)
    request.body = undefined
    next(error)
  })
}

declare module 'express-serve-static-core' {
  interface Request {
    /** Messages of a schedule, as they came. */
    messages?: Buffer
  }
}

const newsSchema = z
  .strictObject({
    name: z
      .string()
      .max(200)
      .default('')
      .describe('Name of the file, by which its form is known where it does not say.'),
    completeFrom: z.iso
      .date()
      .optional()
      .describe('First of the days of which this holds every visit: those that are absent are put to a person.'),
    completeTo: z.iso.date().optional().describe('The last of them.'),
  })
  .refine(({ completeFrom, completeTo }) => (completeFrom === undefined) === (completeTo === undefined), {
    path: ['completeTo'],
    error: 'Give the first and the last day, or neither.',
  })

export function feedRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/feeds',
      access: { may: 'service:read', everywhere: true, quiet: true },
      summary: 'Schedules that are kept elsewhere: when each was last heard, and what was done.',
      answers: { 200: 'Every feed that the site describes.' },
      handle: async () => ({
        status: 200,
        body: { feeds: await Promise.all([...deps.feeds.keys()].map(standing(deps))) },
      }),
    }),
    route({
      method: 'post',
      path: '/feeds/{feed}/news',
      access: { may: 'visits:write', everywhere: true },
      summary: 'Take messages, resources or rows of a schedule: HL7 v2, FHIR, CSV or iCalendar, as they are.',
      query: newsSchema,
      answers: { 200: 'What each of them did, in order, as `daysix feed-check` shows it.' },
      handle: async ({ params, query, request }) => {
        const { messages: bytes } = request
        if (!bytes || bytes.length === 0)
          throw new Failure('bad-input', { field: 'body', message: 'Send the messages themselves as the body.' })
        const { name, completeFrom, completeTo } = query
        const { zone } = await describedFeed(deps, params.feed!)
        const whole = completeFrom && completeTo ? wholeDays(completeFrom, completeTo, zone) : undefined
        const lines = await takeBytes(deps, params.feed!, { bytes, name, whole })
        return { status: 200, body: { counts: Object.fromEntries(countsOf(lines)), lines } }
      },
    }),
    route({
      method: 'post',
      path: '/feeds/{feed}/ping',
      access: { may: 'visits:write', everywhere: true },
      summary:
        'Something has changed: the FHIR server of this feed is asked at once (a Subscription of it may say so).',
      answers: { 202: 'It will be asked.' },
      handle: async ({ params }) => {
        await describedFeed(deps, params.feed!)
        deps.notice('schedule-ping', { feed: params.feed! })
        return { status: 202 }
      },
    }),
  ]
}

const standing = (deps: Deps) => async (name: string) => {
  const since = new Date(deps.clock.now().getTime() - 7 * 86_400_000).toISOString().slice(0, 10)
  const { clinics } = await describedFeed(deps, name)
  return { name, clinics: [...new Set(Object.values(clinics))], ...(await deps.store.read.feeds.figures(name, since)) }
}
