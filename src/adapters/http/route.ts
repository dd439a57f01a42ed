import type { Request, Response, Router } from 'express'
import type { z } from 'zod'
import type { Doer } from '../../flows/ports/access.ts'
import type { Access, Rule } from './access/rules.ts'

/** What a handler gets: everything already checked. */
export interface Asked<B, Q> {
  params: Record<string, string>
  body: B
  query: Q
  request: Request
}

/** An answer: status and JSON; 204 has no body. */
export interface Answer {
  status: number
  body?: unknown
  headers?: Record<string, string>
}

/** One operation of the API. The same description routes the request, checks it, and documents it. */
export interface Route<B extends z.ZodType = z.ZodType, Q extends z.ZodType = z.ZodType> {
  method: 'get' | 'post' | 'put' | 'patch' | 'delete'
  /** OpenAPI style, e.g. `/bookings/{id}`. */
  path: string
  /** Who may, checked before the handler. An operation without it does not start. */
  access: Access
  summary: string
  body?: B
  query?: Q
  headers?: Record<string, string>
  /** Status → what it means. */
  answers: Record<number, string>
  handle(asked: Asked<z.infer<B>, z.infer<Q>>): Promise<Answer>
}

/** Who asks, for the record. */
export function doerOf({ actor }: Request): Doer {
  if (!actor) throw new Error('Nobody is known here: an operation is called without the gate before it.')
  return { kind: actor.kind, id: actor.id }
}

/** Lets the compiler infer body and query from the schemas. */
export function route<B extends z.ZodType = z.ZodUndefined, Q extends z.ZodType = z.ZodUndefined>(
  described: Route<B, Q>,
): Route {
  return described as unknown as Route
}

/** The access rules of operations under an address. @throws Error naming the operation that has none */
export function rulesOf(base: string, routes: readonly Route[]): Rule[] {
  return routes.map(({ method, path, access }) => {
    // The compiler asks for it; this is for whoever silenced the compiler.
    if (!access?.may)
      throw new Error(
        `${method.toUpperCase()} ${base}${path} says nothing of who may use it: give its route an "access".`,
      )
    return { methods: [method.toUpperCase()], path: `${base}${path}`, ...access }
  })
}

/** Puts the routes on a router. Errors go on to the problem handler. */
export function mount(router: Router, routes: readonly Route[]): void {
  for (const each of routes) {
    router[each.method](each.path.replaceAll(/\{(\w+)\}/g, ':$1'), async (request: Request, response: Response) => {
      const { status, body, headers = {} } = await each.handle(checked(each, request))
      response.status(status).set(headers)
      if (body === undefined) response.end()
      else response.json(body)
    })
  }
}

function checked({ body, query }: Route, request: Request): Asked<unknown, unknown> {
  return {
    params: request.params as Record<string, string>,
    body: body?.parse(request.body ?? {}),
    query: query?.parse(request.query),
    request,
  }
}
