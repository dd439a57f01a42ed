import * as z from 'zod'
import {
  LONGEST_NEAR_MISS_WORDS,
  NEAR_MISS_KIND_NAMES,
  NEAR_MISS_REACH_NAMES,
} from '../../../domain/region/near-miss.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { recordNearMiss, reviewNearMiss } from '../../../flows/region/near-misses.ts'
import { by } from '../patients/patient-schemas.ts'
import { type Route, route } from '../route.ts'
import { nearMissesBefore } from './near-miss-pages.ts'

const id = z.string().min(1).max(64)
const words = z.string().trim().max(LONGEST_NEAR_MISS_WORDS)
const toldSchema = z.strictObject({
  clinic: id,
  happened: z.string().max(40).describe('Local time of the clinic, e.g. 2026-03-20T10:30, or an instant with offset.'),
  kind: z.enum(NEAR_MISS_KIND_NAMES),
  reach: z.enum(NEAR_MISS_REACH_NAMES).describe('How far it came.'),
  words: words.min(1, 'Say what happened, without names.').describe('What happened. No names, no numbers.'),
  told: words.default('').describe('Who was called or told, and what was done at once.'),
  by,
})
const listSchema = z.strictObject({
  clinic: id.optional(),
  limit: z.coerce.number().int().min(1).max(200).default(50),
  cursor: z.string().max(100).optional().describe('`next` of the page before.'),
})
const reviewSchema = z.strictObject({ by, change: words.min(1, 'Say what was changed.') })

export function nearMissRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/near-misses',
      access: { may: 'near-misses:read', namesClinic: true, quiet: true },
      summary: 'What went wrong or nearly did, without names, latest first.',
      query: listSchema,
      answers: { 200: 'The record, and `next` where there is more.' },
      handle: async ({ query: { clinic, ...rest } }) => {
        const { shown, next } = await nearMissesBefore(deps, {
          clinicId: clinic,
          cursor: rest.cursor,
          limit: rest.limit,
        })
        return { status: 200, body: { nearMisses: shown, next } }
      },
    }),
    route({
      method: 'post',
      path: '/near-misses',
      access: { may: 'near-misses:write', namesClinic: true },
      summary: 'Tell of something that went wrong or nearly did.',
      body: toldSchema,
      answers: { 201: 'It is kept.' },
      handle: async ({ body }) => ({ status: 201, body: { nearMiss: await recordNearMiss(deps, body) } }),
    }),
    route({
      method: 'post',
      path: '/near-misses/{id}/review',
      access: { may: 'near-misses:write' },
      summary: 'Say what was changed so that it does not happen again.',
      body: reviewSchema,
      answers: { 204: 'It is kept.' },
      handle: async ({ params, body }) => {
        await reviewNearMiss(deps, { id: params.id!, ...body })
        return { status: 204 }
      },
    }),
  ]
}
