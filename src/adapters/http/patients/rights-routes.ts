import * as z from 'zod'
import { CHANNELS } from '../../../domain/messages/texts/kinds.ts'
import { findingWords, verifyAudit } from '../../../flows/access/verify-audit.ts'
import { erasePatient } from '../../../flows/patients/erase-patient.ts'
import { exportPatient } from '../../../flows/patients/export-patient.ts'
import { withdrawConsent } from '../../../flows/patients/withdraw-consent.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { doerOf, route, type Route } from '../route.ts'

const day = z.iso.date('Write the date as YYYY-MM-DD; it must exist.')

const auditSchema = z.strictObject({
  actor: z.string().max(64).optional().describe('Id of a person or key.'),
  subject: z.string().max(64).optional().describe('Id of a patient, visit, follow-up, person or key.'),
  from: day.optional(),
  to: day.optional().describe('Exclusive.'),
  before: z.coerce.number().int().positive().optional().describe('`next` of the page before.'),
  limit: z.coerce.number().int().min(1).max(500).default(100),
})

const withdrawSchema = z.strictObject({
  channel: z.enum(CHANNELS).optional().describe('Every channel without it.'),
  by: z.string().trim().min(1).max(80).default('desk'),
})

/** Patients' rights, the record of who saw what, and what is kept how long. */
export function rightsRoutes(deps: Deps): Route[] {
  return [...patientRoutes(deps), ...auditRoutes(deps), retentionRoute(deps)]
}

function patientRoutes(deps: Deps): Route[] {
  return [
    route({
      method: 'get',
      path: '/patients/{id}/export',
      access: { may: 'rights:use', everywhere: true },
      summary: 'Everything held on a patient.',
      answers: { 200: 'What is held on the patient, by kind of record.' },
      handle: async ({ params, request }) => ({
        status: 200,
        body: await exportPatient(deps, params.id!, doerOf(request)),
        headers: { 'Cache-Control': 'no-store' },
      }),
    }),
    route({
      method: 'delete',
      path: '/patients/{id}',
      access: { may: 'rights:use', everywhere: true },
      summary:
        'Erase a patient. Only counts, the audit record and a wish not to be written to remain. Cannot be undone.',
      answers: { 200: 'How many records of each kind were erased.' },
      handle: async ({ params, request }) => ({
        status: 200,
        body: { erased: await erasePatient(deps, params.id!, doerOf(request)) },
      }),
    }),
    route({
      method: 'post',
      path: '/patients/{id}/consent/withdraw',
      access: { may: 'visits:write' },
      summary: 'Withdraw consent to messages, on one channel or all. Nothing more is sent by it.',
      body: withdrawSchema,
      answers: { 200: 'How many consents were withdrawn.' },
      handle: async ({ params, body }) => ({
        status: 200,
        body: { withdrawn: await withdrawConsent(deps, params.id!, body.channel ?? null) },
      }),
    }),
  ]
}

function auditRoutes({ access, headNotes }: Deps): Route[] {
  const instant = (date: string) => new Date(`${date}T00:00:00Z`)
  return [
    route({
      method: 'get',
      path: '/audit',
      access: { may: 'audit:read', everywhere: true, idsOnly: true },
      summary: 'Who saw and changed what, newest first. Days are in UTC.',
      query: auditSchema,
      answers: { 200: 'A page of entries, and `next` where there are more.' },
      handle: async ({ query: { actor, subject, from, to, before, limit } }) => {
        const entries = await access.read.audit.list({
          ...(actor && { actorId: actor }),
          ...(subject && { subject }),
          ...(from && { from: instant(from) }),
          ...(to && { to: instant(to) }),
          ...(before && { before }),
          limit,
        })
        return { status: 200, body: { entries, next: entries.length === limit ? entries.at(-1)!.seq : null } }
      },
    }),
    route({
      method: 'get',
      path: '/audit/verdict',
      access: { may: 'audit:read', everywhere: true, idsOnly: true },
      summary: 'Whether the record is whole: nothing altered, missing or cut off, and as the noted heads say.',
      answers: { 200: 'Entries, head, and findings; none is good.' },
      handle: async () => {
        const { findings, ...verdict } = await verifyAudit(access, { notes: await headNotes.read() })
        const told = findings.map((finding) => ({ ...finding, words: findingWords(finding) }))
        return { status: 200, body: { ...verdict, findings: told } }
      },
    }),
  ]
}

function retentionRoute(deps: Deps): Route {
  return route({
    method: 'get',
    path: '/retention',
    access: { may: 'service:read', everywhere: true, quiet: true },
    summary: 'How long what is kept, what the last runs cleared, and up to where it is cleared.',
    answers: { 200: 'Rules, runs, and the instant up to which each kind of data is cleared.' },
    handle: async () => {
      const { retention } = deps.access.read
      const [runs, clearedTo] = await Promise.all([retention.runs(30), retention.clearedTo()])
      return { status: 200, body: { rules: deps.policy.retention, runs, clearedTo: Object.fromEntries(clearedTo) } }
    },
  })
}
