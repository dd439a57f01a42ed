import express, { Router, type NextFunction, type Request, type Response } from 'express'
import type { Booking } from '../../../domain/visits/booking.ts'
import type { Patient } from '../../../domain/patients/patient.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import { Failure } from '../../../domain/failure.ts'
import { readablePhone } from '../../../domain/patients/phone.ts'
import { mayHavePeriod } from '../../../domain/preparation/cycle/no-cycle.ts'
import { prepDeadline } from '../../../domain/preparation/deadline.ts'
import type { FullProtocol } from '../../../domain/preparation/protocol.ts'
import { dateIn } from '../../../domain/local-time.ts'
import type { Language } from '../../../domain/messages/texts/library.ts'
import { hearOnPage, mayAnswerOnPage, saidOnPage, type SaidOnPage } from '../../../flows/replies/hear-on-page.ts'
import { readOnPage, unreadMail } from '../../../flows/messages/read-on-page.ts'
import { withdrawConsent } from '../../../flows/patients/withdraw-consent.ts'
import { protocolOf, loadVisit } from '../../../flows/lookups.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import type { Wording } from '../../templates/load-wording.ts'
import { noteAway, toProblem } from '../problem.ts'
import { sameSecret } from '../../vault/same-secret.ts'
import { calendarFile } from './calendar-file.ts'
import { mailAnswer, readPageAnswer } from './patient-answers.ts'
import { renderClosedPage, renderPatientPage, renderPlainPage } from './patient-page.ts'
import type { PatientPage } from './page-data.ts'

/** The page stays open for a while after the visit began, then shows nothing of it. */
const OPEN_AFTER_MS = 6 * 3_600_000
/** How long a collection visit takes in a calendar. Common practice, no source. */
const VISIT_MINUTES = 20

export type PatientPages = Pick<Wording, 'library' | 'pages'>

interface Open {
  booking: Booking
  patient: Patient
  clinic: Clinic
  protocol: FullProtocol
  path: string
}

/**
 * The private page of each booking at `/v/TOKEN`, with its answers and its calendar file. No sign-in: the token is the
 * key.
 */
export function patientRouter(deps: Deps, { library, pages }: PatientPages): Router {
  const router = Router()
  router.use((_request, response, next) => {
    response.set({ 'Cache-Control': 'no-store', 'X-Robots-Tag': 'noindex, nofollow' })
    next()
  })

  router.get('/:token', async (request, response) => {
    const open = await opened(deps, request.params.token)
    const said = await saidNow(open, request)
    await show(
      open,
      request,
      response,
      said?.changed ? { said: null, problem: 'choice' } : { said: said && said.words, problem: null },
    )
  })

  router.post('/:token', express.urlencoded({ extended: false, limit: '4kb' }), async (request, response) => {
    const open = await opened(deps, request.params.token!)
    const pressed = mailAnswer(request.body)
    if (pressed !== null) {
      await takeMail(open, pressed)
      return response.redirect(303, `${open.path}?lang=${languageOf(open, request).code}&said=${pressed}`)
    }
    if (isClosed(deps, open.booking)) return show(open, request, response, { said: null, problem: null })
    if (!(await mayAnswerOnPage(deps, open.booking.id, open.patient.phone)))
      return show(open, request, response.status(429), { said: null, problem: 'full' })
    const answer = readPageAnswer(request.body, today(open))
    if (answer === 'problem') return show(open, request, response.status(422), { said: null, problem: 'date' })
    const reply = await hearOnPage(deps, open.booking.id, answer)
    // Shown by a new request, so that reloading the page does not answer twice.
    response.redirect(303, `${open.path}?lang=${languageOf(open, request).code}&said=${reply}`)
  })

  router.get('/:token/visit.ics', async (request, response) => {
    const { booking, protocol, ...open } = await opened(deps, request.params.token)
    if (isClosed(deps, booking)) throw new Failure('not-found', { message: 'This page is closed.' })
    const mark = protocol.prepHours > 0 ? prepDeadline(booking.visitAt, protocol.prepHours) : null
    const title = pages.get(languageOf({ ...open }, request).code)!.words.calendar.title
    const entry = {
      id: booking.id,
      revision: booking.planRevision,
      visit: booking.visitAt,
      minutes: VISIT_MINUTES,
      mark,
      title,
      now: deps.clock.now(),
    }
    response
      .type('text/calendar')
      .set('Content-Disposition', 'attachment; filename="visit.ics"')
      .send(calendarFile(entry))
  })
  router.use((_request, _response, next) => next(new Failure('not-found', { message: 'There is no such page.' })))
  router.use(plain)
  return router

  /** A wrong, cut or ended address, or no way to the data, for a person: no page of ours has another reader. */
  function plain(error: unknown, request: Request, response: Response, next: NextFunction): void {
    const { status, code } = toProblem(error, request)
    if (response.headersSent || (status !== 404 && status !== 503)) return next(error)
    response.locals.code = code
    if (status === 503) noteAway(response, error)
    const language = offered().find(({ code }) => code === request.acceptsLanguages(offered().map((each) => each.code)))
    const shown = language ?? library.languages.get('en')!
    response
      .status(status)
      .type('html')
      .send(renderPlainPage({ language: shown, texts: pages.get(shown.code)! }, status === 404 ? 'missing' : 'away'))
  }

  async function takeMail({ booking, patient }: Open, pressed: 'read' | 'end-mail'): Promise<void> {
    await readOnPage(deps, booking.id)
    if (pressed === 'end-mail') await withdrawConsent(deps, patient.id, 'email')
  }

  async function saidNow(open: Open, request: Request): Promise<SaidOnPage | null> {
    const { said } = request.query
    if (said === 'read') return { words: '', changed: false }
    if (said === 'end-mail')
      return { words: pages.get(languageOf(open, request).code)!.words.mail.done, changed: false }
    return typeof said === 'string' ? saidOnPage(deps, open.booking.id, said) : null
  }

  async function show(
    open: Open,
    request: Request,
    response: Response,
    result: Pick<PatientPage, 'said' | 'problem'>,
  ): Promise<void> {
    const language = languageOf(open, request)
    const { name, phone, settings } = open.clinic
    const { emergency, address, directions } = settings
    const clinic = { name, phone: readablePhone(phone), emergency, address, directions }
    const unread = unreadMail(await deps.store.read.messages.ofBooking(open.booking.id)).length > 0
    const frame = { unread, clinic, language, texts: pages.get(language.code)!, offered: offered(), path: open.path }
    if (isClosed(deps, open.booking)) return void response.status(410).type('html').send(renderClosedPage(frame))
    response.type('html').send(renderPatientPage({ ...frame, ...result, ...(await facts(open)) }))
  }

  async function facts({ booking, patient, protocol }: Open) {
    const offer = await deps.store.read.offers.pending(booking.id)
    const { cycle } = patient
    return {
      visit: booking.visitAt,
      confirmed: booking.confirmedAt !== null,
      byMail: (await deps.store.read.patients.consents(patient.id)).some(({ channel }) => channel === 'email'),
      zone: booking.zone,
      avoid: protocol.avoid,
      fine: protocol.fine,
      periods: mayHavePeriod(cycle) && protocol.avoidDays !== null,
      ask: cycle.status === 'unknown' && cycle.lmp === undefined ? ('last-period' as const) : ('period' as const),
      choices: offer?.state === 'open' ? offer.choices : [],
      now: deps.clock.now(),
      today: dateIn(deps.clock.now(), booking.zone),
    }
  }

  function today({ booking }: Open): string {
    return dateIn(deps.clock.now(), booking.zone)
  }

  /** Languages nobody has approved are offered only where drafts are allowed. */
  function offered(): Language[] {
    return [...library.languages.values()].filter(({ code }) => {
      const page = pages.get(code)
      return page !== undefined && (page.state === 'approved' || deps.policy.allowDrafts)
    })
  }

  function languageOf({ patient }: Pick<Open, 'patient'>, request: Request): Language {
    const body = request.body as { lang?: unknown } | undefined
    const asked = [request.query.lang, body?.lang, patient.language.split('-')[0], 'en']
    return (
      asked.map((code) => offered().find((each) => each.code === code)).find((found) => found !== undefined) ??
      library.languages.get('en')!
    )
  }
}

function isClosed(deps: Deps, { visitAt, state }: Booking): boolean {
  return state === 'cancelled' || deps.clock.now().getTime() > visitAt.getTime() + OPEN_AFTER_MS
}

/**
 * The booking a token opens. A token is good for the number it was sent to, as long as that is the patient's: it ends
 * when the number changes, turns out to be somebody else's, or the patient is said to have died. A wrong token, one
 * that has ended and a booking that does not exist look the same.
 */
async function opened(deps: Deps, token: string): Promise<Open> {
  const id = `b_${token.split('.')[0]}`
  const booking = ID.test(id) ? await deps.store.read.bookings.get(id) : undefined
  const whole = booking && (await loadVisit(deps.store.read, booking))
  const path = new URL(deps.pageOf(id, whole?.patient.phone ?? '')).pathname
  if (!sameSecret(path, `/v/${token}`) || !whole || (await hasEnded(deps, whole.patient))) {
    throw new Failure('not-found', { message: 'This page does not exist. Check the address, or call your clinic.' })
  }
  return { ...whole, protocol: protocolOf(deps, whole.booking.protocol), path }
}

const ID = /^b_[0-9a-z]{1,40}$/

async function hasEnded({ store }: Deps, { phone, reportedDead }: Patient): Promise<boolean> {
  return reportedDead === true || (await store.read.optOuts.get(phone))?.reason === 'wrong-person'
}
