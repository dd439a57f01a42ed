import * as z from 'zod'
import { FAILURES } from '../../domain/failure.ts'
import type { Route } from './route.ts'

const problem = {
  type: 'object',
  required: ['type', 'title', 'status', 'code'],
  properties: {
    type: { type: 'string' },
    title: { type: 'string' },
    status: { type: 'integer' },
    detail: { type: 'string', description: 'What is wrong and how to mend it.' },
    code: { type: 'string', enum: [...Object.keys(FAILURES), 'internal'] },
    field: { type: 'string' },
    faults: {
      type: 'array',
      items: { type: 'object', properties: { field: { type: 'string' }, message: { type: 'string' } } },
    },
  },
}

/** The OpenAPI 3.1 document of the routes; schemas come from the very zod schemas that check the requests. */
export function openApi(routes: readonly Route[], base: string): object {
  const paths: Record<string, Record<string, object>> = {}
  for (const each of routes) (paths[each.path] ??= {})[each.method] = operation(each)
  return {
    openapi: '3.1.0',
    info: {
      title: 'Daysix',
      version: '1',
      description:
        'Books visits for cervical specimens, times them, prepares patients by message and moves visits. ' +
        'Not medical advice, not contraception; local codes and licensed practice prevail.',
    },
    servers: [{ url: base }],
    components: { securitySchemes: { key: { type: 'http', scheme: 'bearer' } }, schemas: { Problem: problem } },
    security: [{ key: [] }, {}],
    paths,
  }
}

function operation({ path, summary, body, query, headers = {}, answers }: Route): object {
  const parameters = [...pathParameters(path), ...queryParameters(query), ...headerParameters(headers)]
  return {
    summary,
    ...(parameters.length > 0 && { parameters }),
    ...(body && {
      requestBody: {
        required: true,
        content: { 'application/json': { schema: z.toJSONSchema(body, { io: 'input' }) } },
      },
    }),
    responses: {
      ...responses(answers),
      default: {
        description: 'A problem (RFC 9457).',
        content: { 'application/problem+json': { schema: { $ref: '#/components/schemas/Problem' } } },
      },
    },
  }
}

function responses(answers: Record<number, string>): Record<string, object> {
  return Object.fromEntries(Object.entries(answers).map(([status, description]) => [status, { description }]))
}

function pathParameters(path: string): object[] {
  return [...path.matchAll(/\{(\w+)\}/g)].map(([, name]) => ({
    name,
    in: 'path',
    required: true,
    schema: { type: 'string' },
  }))
}

function queryParameters(query: z.ZodType | undefined): object[] {
  if (!query) return []
  const { properties = {}, required = [] } = z.toJSONSchema(query, { io: 'input' }) as {
    properties?: Record<string, object>
    required?: string[]
  }
  return Object.entries(properties).map(([name, schema]) => ({
    name,
    in: 'query',
    required: required.includes(name),
    schema,
  }))
}

function headerParameters(headers: Record<string, string>): object[] {
  return Object.entries(headers).map(([name, description]) => ({
    name,
    in: 'header',
    description,
    schema: { type: 'string' },
  }))
}
