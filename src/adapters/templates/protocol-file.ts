import * as z from 'zod'
import { LONGEST_MINUTES, SHORTEST_MINUTES, USUAL_MINUTES } from '../../domain/visits/duration.ts'

export const words = z.string().min(1)

const cycleDays = { first: z.int().min(1).max(45), last: z.int().min(1).max(45), source: words }

const inOrder = ({ first, last }: { first: number; last: number }): boolean => first <= last

const NEVER_AVOIDED = 'Patients are never told to stop prescribed medicine. List it as fine.'

/** A protocol as a file of `templates/protocols` or of a site states it. */
export const protocolFile = z.strictObject({
  id: z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'Use lower-case letters, digits and hyphens.'),
  version: z.int().min(1),
  reviewBy: z.iso.date(),
  visit: z
    .strictObject({ minutes: z.int().min(SHORTEST_MINUTES).max(LONGEST_MINUTES), source: words })
    .default({ minutes: USUAL_MINUTES, source: 'Common practice, no source.' }),
  names: z.intersection(z.object({ en: words }), z.record(z.string(), words)),
  avoid: z.array(
    z.strictObject({
      what: words.refine((what) => what !== 'prescribed-medicine', NEVER_AVOIDED),
      hours: z.number().min(1).max(336),
      source: words,
    }),
  ),
  fine: z.array(words),
  avoidDays: z
    .strictObject({
      ...cycleDays,
      strength: z.enum(['hard', 'soft']).default('hard'),
      conflicts: z.array(words).default([]),
    })
    .refine(inOrder, 'The first day comes before the last.')
    .nullable(),
  ideal: z
    .strictObject({ day: z.int().min(1).max(45), ...cycleDays })
    .refine(
      ({ day, first, last }) => first <= day && day <= last,
      'The ideal day lies between the first and the last day.',
    ),
  vial: z.strictObject({ medium: words.optional(), keepsDays: z.int().min(1), source: words }).nullable(),
  deferrals: z.array(
    z.strictObject({
      after: words,
      days: z.int().min(1).nullable(),
      source: words,
      conflicts: z.array(words).default([]),
    }),
  ),
  checklist: z.array(z.strictObject({ id: words, text: words, source: words })),
  /** The site's own answers by topic and language; null = a person answers. */
  answers: z
    .record(
      z.string(),
      z.record(z.string(), z.strictObject({ sentence: words, by: words, on: z.iso.date() })).nullable(),
    )
    .default({}),
})

export type ProtocolFile = z.infer<typeof protocolFile>
