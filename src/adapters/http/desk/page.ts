import type { Request, Response, Router } from 'express'
import type { Actor, Permission } from '../../../domain/access/roles.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import type { TextLibrary } from '../../../domain/messages/texts/library.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import type { SendingStop } from '../../../flows/ports/access.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { REGION } from '../../../flows/messages/stop-sending.ts'
import type { Html } from '../pages/html.ts'
import { frame, type Frame } from './frame.ts'
import { flashWords } from './flash.ts'

/** What every page of a clinic's desk starts from. */
export interface PageContext {
  deps: Deps
  library: TextLibrary
  clinic: Clinic
  now: Date
  /** Address of a page of this clinic, e.g. `at('bookings')`. */
  at(path: string): string
  /** What was just done, in words, to be shown once. */
  said: string | null
  /** Why nothing goes out at this clinic; none where messages do. */
  stops: SendingStop[]
  /** Open follow-ups, shown beside the call list's name. */
  calls: number
  /** One of several clinics. */
  among: boolean
  /** Whoever is at the desk, for the record. */
  who: Actor
  may(permission: Permission): boolean
  params: Record<string, string>
  query: Record<string, string>
  form: Record<string, string | string[]>
}

/** What a handler answers: a page, another address to go to, or a page that says what is wrong. */
export type Answer = PageContent | { to: string } | { status: number; page: PageContent }
export type PageContent = Omit<Frame, 'sheet'>

/** Puts pages on the router, each with its clinic already looked up. */
export class Desk {
  readonly #router: Router
  readonly deps: Deps
  readonly library: TextLibrary

  constructor(router: Router, deps: Deps, library: TextLibrary) {
    this.#router = router
    this.deps = deps
    this.library = library
  }

  get(path: string, handle: (sheet: PageContext) => Promise<Answer>): void {
    this.#router.get(`/:clinic/${path}`, (request, response) => this.#answer(request, response, handle))
  }

  post(path: string, handle: (sheet: PageContext) => Promise<Answer>): void {
    this.#router.post(`/:clinic/${path}`, (request, response) => this.#answer(request, response, handle))
  }

  /** A whole document of its own, outside the desk's frame. */
  raw(path: string, handle: (sheet: PageContext) => Promise<Html>): void {
    this.#router.get(`/:clinic/${path}`, async (request, response) => send(response, 200, await handle(await this.#sheet(request))))
  }

  async #answer(request: Request, response: Response, handle: (sheet: PageContext) => Promise<Answer>): Promise<void> {
    const sheet = await this.#sheet(request)
    const answer = await handle(sheet)
    if ('to' in answer) return response.redirect(303, answer.to)
    const [status, page] = 'status' in answer ? [answer.status, answer.page] : [200, answer]
    send(response, status, frame({ ...page, sheet }))
  }

  async #sheet(request: Request): Promise<PageContext> {
    const { read } = this.deps.store
    const params = request.params as Record<string, string>
    const clinics = await read.clinics.list()
    const clinic = orNotFound(clinics.find(({ id }) => id === params.clinic), 'clinic')
    const query = request.query as Record<string, string>
    return {
      deps: this.deps,
      library: this.library,
      clinic,
      now: this.deps.clock.now(),
      at: (path) => `/desk/${encodeURIComponent(clinic.id)}/${path}`,
      said: flashWords(query.said),
      stops: (await this.deps.access.read.sendingStops.list()).filter(({ scope }) => scope === REGION || scope === clinic.id),
      calls: request.actor!.may.includes('calls:read') ? await read.followUps.countOpen(clinic.id) : 0,
      among: clinics.length > 1 && request.actor!.clinicId === null,
      who: request.actor!,
      may: (permission) => request.actor!.may.includes(permission),
      params,
      query,
      form: (request.body ?? {}) as Record<string, string | string[]>,
    }
  }
}

/** Pages are for one pair of eyes and for now: nothing may keep them. */
export function send(response: Response, status: number, page: Html): void {
  response.status(status).type('html').set('Cache-Control', 'no-store').send(page.text)
}

/** One value of a form; a repeated or missing field is an empty one. */
export function field({ form }: Pick<PageContext, 'form'>, name: string): string {
  const value = form[name]
  return typeof value === 'string' ? value.trim() : ''
}
