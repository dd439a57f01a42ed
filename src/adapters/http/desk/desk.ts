import express, { Router, type Request } from 'express'
import { Failure } from '../../../domain/failure.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import type { Wording } from '../../templates/load-wording.ts'
import type { ChangeFeed } from '../change-feed.ts'
import { onlyOwnForms } from '../own-forms.ts'
import { deskAssets } from './assets.ts'
import { events } from './events.ts'
import { mountBook } from '../visits/book-page.ts'
import { mountBookings } from '../visits/bookings-page.ts'
import { mountCalls } from '../calls/calls-page.ts'
import { mountNearMisses } from '../region/near-misses-page.ts'
import { mountPrints } from '../prints/prints-page.ts'
import { mountDaySheet } from '../preparation/day-sheet-page.ts'
import { mountConversation } from '../replies/conversation-page.ts'
import { mountFeeds } from '../schedule/feeds-page.ts'
import { mountOpenings } from '../visits/openings-page.ts'
import { mountService } from './service-page.ts'
import { mountSending } from '../messages/sending-page.ts'
import { mountTexts } from '../messages/texts-page.ts'
import { mountReplies } from '../replies/replies-page.ts'
import { mountVisit } from '../visits/visit-page.ts'
import { clinicsPage } from '../region/clinics-page.ts'
import { LARGEST_FORM, MOST_FIELDS } from './form-limits.ts'
import { Desk } from './page.ts'
import { mountWatch } from './watch-part.ts'

const MOUNTS = [
  mountWatch,
  mountBookings,
  mountBook,
  mountVisit,
  mountCalls,
  mountDaySheet,
  mountPrints,
  mountNearMisses,
  mountReplies,
  mountConversation,
  mountOpenings,
  mountFeeds,
  mountService,
  mountSending,
]

/**
 * The front desk's pages: `/desk/CLINIC/…`. Rendered here; they work without scripts.
 * @param stillIn whether somebody whose answer stays open may still see it
 */
export function desk(
  deps: Deps,
  news: ChangeFeed,
  wording: Wording,
  stillIn: (request: Request) => Promise<boolean>,
): Router {
  const router = Router()
  router.get('/events', events(news, stillIn))
  router.use('/assets', deskAssets())
  router.use(onlyOwnForms, express.urlencoded({ extended: false, limit: LARGEST_FORM, parameterLimit: MOST_FIELDS }))
  router.get('/', clinicsPage(deps))
  const own = new Desk(router, deps, wording.library)
  for (const mount of MOUNTS) mount(own)
  mountTexts(own, wording)
  router.use((_request, _response, next) => next(new Failure('not-found', { message: 'There is no such page.' })))
  return router
}
