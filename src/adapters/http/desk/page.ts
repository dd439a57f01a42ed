import type { Answer, Download, PageContent, PageContext } from './page-context.ts'
import type { Request, Response, Router } from 'express'
import type { TextLibrary } from '../../../domain/messages/texts/library.ts'
import { orNotFound } from '../../../flows/lookups.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import { feedsOfClinic } from '../../../flows/schedule/described-feed.ts'
import { REGION } from '../../../flows/messages/stop-sending.ts'
import type { Html } from '../pages/html.ts'
import { NO_CALLS, openCalls } from '../calls/open-calls.ts'
import { alsoShows } from '../access/shown-subjects.ts'
import { sendPage } from '../pages/send-page.ts'
import { formWithFile } from './form-with-file.ts'
import { frame } from './frame.ts'
import { flashWords } from './flash.ts'
import { clinicClock } from './when.ts'

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

  /** A form with a file. */
  upload(path: string, handle: (sheet: PageContext) => Promise<Answer>): void {
    this.#router.post(`/:clinic/${path}`, formWithFile, (request, response) => this.#answer(request, response, handle))
  }

  /** A whole document of its own, outside the desk's frame. */
  raw(path: string, handle: (sheet: PageContext) => Promise<Html>): void {
    this.#router.get(`/:clinic/${path}`, async (request, response) =>
      sendPage(response, 200, await handle(await this.#sheet(request))),
    )
  }

  async #answer(request: Request, response: Response, handle: (sheet: PageContext) => Promise<Answer>): Promise<void> {
    const sheet = await this.#sheet(request)
    const answer = await handle(sheet)
    response.set('X-Clinic-Time', sheet.clock(sheet.now, sheet.clinic.zone))
    give(response, answer, (page) => frame({ ...page, sheet }))
  }

  async #sheet(request: Request): Promise<PageContext> {
    const { read } = this.deps.store
    const params = request.params as Record<string, string>
    const clinics = await read.clinics.list()
    const clinic = orNotFound(
      clinics.find(({ id }) => id === params.clinic),
      'clinic',
    )
    const query = request.query as Record<string, string>
    return {
      deps: this.deps,
      library: this.library,
      clinic,
      now: this.deps.clock.now(),
      at: (path) => `/desk/${encodeURIComponent(clinic.id)}/${path}`,
      said: flashWords(query.said),
      stops: (await this.deps.access.read.sendingStops.list()).filter(
        ({ scope }) => scope === REGION || scope === clinic.id,
      ),
      calls: request.actor!.may.includes('calls:read') ? await openCalls(read, clinic.id) : NO_CALLS,
      feeds: await feedsOfClinic(this.deps, clinic.id),
      among: clinics.length > 1 && request.actor!.clinicId === null,
      who: request.actor!,
      may: (permission) => request.actor!.may.includes(permission),
      ...clinicClock(clinic.settings.clock),
      params,
      query,
      form: (request.body ?? {}) as Record<string, string | string[]>,
      ...(request.chosen && { chosen: request.chosen }),
    }
  }
}

/** Answers with what a handler made: a page in its frame, another address, or a file. */
export function give(response: Response, answer: Answer, framed: (page: PageContent) => Html): void {
  if ('to' in answer) return response.redirect(303, answer.to)
  if ('file' in answer) return sendFile(response, answer)
  const [status, page] = 'status' in answer ? [answer.status, answer.page] : [200, answer]
  sendPage(response, status, framed(page))
}

function sendFile(response: Response, { file, type, content, shows }: Download): void {
  alsoShows(response, shows)
  response.status(200).attachment(file).set({ 'Content-Type': type, 'Cache-Control': 'no-store' }).send(content)
}

/** One value of a form; a repeated or missing field is an empty one. */
export function field({ form }: Pick<PageContext, 'form'>, name: string): string {
  const value = form[name]
  return typeof value === 'string' ? value.trim() : ''
}
