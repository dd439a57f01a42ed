import express, { Router } from 'express'
import { DateTime } from 'luxon'
import type { VirtualClock } from '../src/adapters/clock/clocks.ts'
import type { PocketGateway } from '../src/adapters/gateways/pocket/pocket-gateway.ts'
import { document } from '../src/adapters/http/desk/frame.ts'
import { onlyOwnForms } from '../src/adapters/http/own-forms.ts'
import { html, type Html } from '../src/adapters/http/pages/html.ts'
import { sendPage } from '../src/adapters/http/pages/send-page.ts'
import { phonePages } from '../src/adapters/http/phones/phones.ts'
import { CAUTION } from '../src/adapters/http/views.ts'
import type { Records } from '../src/flows/ports/deps.ts'
import { CAST } from './morning.ts'
import { LEAPS, type Leap, type Play } from './play.ts'
import { CLINICS, ZONE, type DemoPatient } from './scenario.ts'

interface DemoPages {
  play: Play
  pocket: PocketGateway
  clock: VirtualClock
  /** By number. */
  known: ReadonlyMap<string, DemoPatient>
  played: Set<string>
  read: Records
}

/** The pages that only the demo has: where to start, and the simulated phones. */
export function demoPages({ play, pocket, clock, known, played, read }: DemoPages): Router {
  const router = Router()
  const people = [...known.values()]
  const [alarmed, offered] = [CAST.alarmed, CAST.offered].map((part) => people.filter(isNeighbour)[part]!)
  router.get('/', (_request, response) => sendPage(response, 200, startHere(play, clock.now(), alarmed!, offered!)))
  router.post(
    '/demo/time',
    onlyOwnForms,
    express.urlencoded({ extended: false, limit: '1kb' }),
    (request, response) => {
      const { by } = request.body as { by?: string }
      if (by !== undefined && Object.hasOwn(LEAPS, by)) play.leap(by as Leap, clock.now())
      response.redirect(303, '/')
    },
  )
  const clinicOf = new Map(CLINICS.map(({ id, name }) => [id, name]))
  const holder = (number: string) => known.get(number)
  router.use(
    phonePages({
      ...{ pocket, clock, zone: ZONE },
      nameOf: (number) => holder(number)?.name ?? number,
      groupOf: (number) => clinicOf.get(holder(number)?.clinic ?? '') ?? 'Others',
      nextVisits: () => nextVisits(read, clock.now()),
      onWritten: (number) => played.add(number),
    }),
  )
  return router
}

const isNeighbour = ({ number }: DemoPatient) => number.startsWith('+1902')

/** The next visit of each number that has one. */
async function nextVisits({ bookings, patients }: Records, now: Date): Promise<Map<string, Date>> {
  const visits = await bookings.list({ from: now, state: 'booked', limit: 500 })
  const numbers = new Map(
    (await patients.many([...new Set(visits.map(({ patientId }) => patientId))])).map(({ id, phone }) => [id, phone]),
  )
  const next = new Map<string, Date>()
  for (const { patientId, visitAt } of visits) {
    const number = numbers.get(patientId)
    if (number && !next.has(number)) next.set(number, visitAt)
  }
  return next
}

function startHere(play: Play, now: Date, alarmed: DemoPatient, offered: DemoPatient): Html {
  return document(
    'Start here',
    html`<main id="content" class="choice">
<h1>Start here</h1>
<p>The invented Skerry Isles: three clinics, their patients, and a telephone network that reaches nobody.
You sit at the front desk of Tidewrack Clinic.</p>
${time(play, now)}
<h2>Three things to try</h2>
<ol class="clinics">
<li><a href="/desk/tidewrack/calls">Call ${alarmed.name} first</a> <small>A patient wrote something that may be an
emergency. See what was said, what the answer was, and settle the call.</small></li>
<li><a href="/phones/${offered.number}">Be ${offered.name}</a> <small>The period began this morning, and the visit is
next. Choose one of the times on offer, then see what the desk sees.</small></li>
<li><a href="/desk/tidewrack/book">Book a bad day</a> <small>Any name, 902 555 0199, a last period four weeks ago, a
visit in two days: look at what the desk is told before it is booked.</small></li>
</ol>
<h2>Look around</h2>
<ul class="clinics">
<li><a href="/desk/tidewrack/day-sheet">Today’s list</a> <small>who comes, who is prepared, what to ask</small></li>
<li><a href="/desk/gullholm/calls">A move to approve</a> <small>Gullholm Health Post decides on each move
itself</small></li>
<li><a href="/desk/tidewrack/replies">Replies to read</a> <small>what nobody could be sure of</small></li>
<li><a href="/desk">The clinics’ desks</a> <small>bookings, openings, texts</small></li>
<li><a href="/phones">The simulated phones</a> <small>write as a patient; others answer by themselves</small></li>
<li><a href="/api/v1/openapi.json">The API’s description</a> <small>for programs</small></li>
</ul>
</main>
<footer><p>${CAUTION}</p></footer>`,
  )
}

/** What time it is here, and how to move it. It asks again by itself while time is on its way. */
function time(play: Play, now: Date): Html {
  const told = play.told(now)
  const goal = play.leapingTo(now)
  const trigger = goal === null ? 'every 10s' : 'every 1s'
  return html`<section id="time" aria-label="Time" hx-get="/" hx-trigger="${trigger}" hx-select="#time"
  hx-swap="outerHTML">
<p role="status">It is <b>${words(now)}</b>${
    told < 1
      ? html`. The last three months are filling in: ${Math.floor(told * 100)} in 100. You may look around already.`
      : goal !== null
        ? html`, on the way to ${words(goal)} …`
        : html`, and time goes on. You may also move it:`
  }</p>
${
  goal === null &&
  html`<form method="post" action="/demo/time" class="chooser">${Object.entries(LEAPS).map(
    ([leap, label]) => html`<button name="by" value="${leap}">${label}</button> `,
  )}</form>`
}
</section>`
}

function words(at: Date): string {
  return DateTime.fromJSDate(at, { zone: ZONE }).toFormat('cccc d LLLL yyyy, HH:mm')
}
