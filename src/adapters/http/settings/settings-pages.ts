import type { Request, Router } from 'express'
import type { TextLibrary } from '../../../domain/messages/texts/library.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import type { Answer } from '../desk/page-context.ts'
import { give } from '../desk/page.ts'
import { flashWords } from '../desk/flash.ts'
import { clinicClock } from '../desk/when.ts'
import type { SettingsContext } from './settings-context.ts'
import { settingsFrame } from './settings-frame.ts'

type Handle = (sheet: SettingsContext) => Promise<Answer> | Answer

/** Puts pages on the router of `/settings`. */
export class SettingsPages {
  readonly #router: Router
  readonly deps: Deps
  readonly library: TextLibrary

  constructor(router: Router, deps: Deps, library: TextLibrary) {
    this.#router = router
    this.deps = deps
    this.library = library
  }

  get(path: string, handle: Handle): void {
    this.#mount('get', path, handle)
  }

  post(path: string, handle: Handle): void {
    this.#mount('post', path, handle)
  }

  #mount(method: 'get' | 'post', path: string, handle: Handle): void {
    this.#router[method](`/${path}`, async (request, response) => {
      const sheet = await this.#sheet(request)
      give(response, await handle(sheet), (page) => settingsFrame(sheet, page))
    })
  }

  async #sheet(request: Request): Promise<SettingsContext> {
    const { deps, library } = this
    const clinics = await deps.store.read.clinics.list()
    const zones = new Set(clinics.map(({ zone }) => zone))
    const clocks = new Set(clinics.map(({ settings }) => settings.clock))
    const query = request.query as Record<string, string>
    return {
      deps,
      library,
      clinics,
      now: deps.clock.now(),
      zone: zones.size === 1 ? clinics[0]!.zone : 'UTC',
      ...clinicClock(clocks.size === 1 ? clinics[0]!.settings.clock : '24'),
      said: flashWords(query.said),
      stops: await deps.access.read.sendingStops.list(),
      who: request.actor!,
      may: (permission) => request.actor!.may.includes(permission),
      origin: `${request.protocol}://${request.get('Host') ?? ''}`,
      params: request.params as Record<string, string>,
      query,
      form: (request.body ?? {}) as Record<string, string | string[]>,
    }
  }
}
