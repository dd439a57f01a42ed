import { setTimeout as pause } from 'node:timers/promises'
import { anythingGoesOut } from '../../../flows/messages/approved-texts.ts'
import type { Gateway } from '../../../flows/ports/gateway.ts'
import { isSilent } from '../../../domain/schedule/silence.ts'
import type { Deps, MessageFigures } from '../../../flows/ports/deps.ts'
import { html, type Html } from '../pages/html.ts'
import type { Desk } from './page.ts'
import type { Answer } from './page-context.ts'
import type { PageContext } from './page-context.ts'
import { linesOf, type Line, type Standing } from './service-lines.ts'
import { weekPlots } from './week-plots.ts'

const DAY_MS = 86_400_000

export function mountService(desk: Desk): void {
  desk.get('service', service)
}

/** How the service is doing: figures only, of all clinics together; nothing about anybody. */
async function service(sheet: PageContext): Promise<Answer> {
  const { deps, now, clinic } = sheet
  const { read } = deps.store
  const database = await timed(read.messages.figures(now, new Date(now.getTime() - DAY_MS)))
  const figures = database.answer
  const lines = linesOf(await standingOf(sheet, figures, database.ms), (at) => sheet.dayAndClock(at, clinic.zone))
  const optedOut = await read.optOuts.count()
  return {
    title: 'Service',
    here: 'service',
    body: html`<section id="service" data-live hx-get="${sheet.at('service')}" hx-trigger="news" hx-select="#service"
      hx-swap="outerHTML" aria-label="How the service stands">
<h2>What to know first</h2>${standing(lines)}
<h2>Messages</h2><dl class="facts">${queue(figures)}<div><dt>Numbers that want no messages</dt><dd>${optedOut}</dd></div></dl>
<h2>Gateways</h2>${gateways([...deps.gateways.values()])}
<h2>Did not arrive, last 24 hours</h2>${troubles(figures, sheet)}
<p><a href="${sheet.at('sending')}">Stop all sending, or let it go on</a></p>
<p>Figures of all clinics together, as of ${sheet.dayAndClock(now, clinic.zone)}.</p></section>
<section aria-label="The week until now"><h2>The week until now</h2>${await weekPlots(sheet)}</section>`,
  }
}

async function timed<T>(work: Promise<T>): Promise<{ answer: T; ms: number }> {
  const began = performance.now()
  const answer = await work
  return { answer, ms: performance.now() - began }
}

/** A queue that does not answer must not keep the page from saying so. */
const QUEUE_MS = 2_000

async function standingOf({ deps, now, clinic }: PageContext, figures: MessageFigures, ms: number): Promise<Standing> {
  const { standing: read } = deps.store.read
  const [workers, backup, stops, room, queue, feeds] = await Promise.all([
    read.workers(),
    read.lastBackup(),
    deps.access.read.sendingStops.list(),
    // A folder that cannot be looked at is not known; the rest of the page is worth no less.
    deps.home.room().catch(() => null),
    timed(Promise.race([deps.queue.ready().catch(() => false), pause(QUEUE_MS, false, { ref: false })])),
    feedsHeard(deps, now, clinic.zone),
  ])
  return {
    now,
    version: deps.home.version,
    since: deps.home.since,
    oldestDue: figures.oldestDue,
    stopped: stops.length > 0,
    sends: anythingGoesOut(deps.approvedTexts),
    workers,
    gateways: [...deps.gateways.values()].map((gateway) => ({ name: gateway.name, health: gateway.health?.() })),
    database: { ms },
    queue: queue.answer ? { ms: queue.ms } : null,
    room,
    backup,
    feeds,
  }
}

/** When each was last heard; those of all clinics, as all figures here. */
function feedsHeard({ feeds, store }: Deps, now: Date, zone: string): Promise<Standing['feeds']> {
  const today = now.toISOString().slice(0, 10)
  return Promise.all(
    [...feeds.keys()].map(async (name) => {
      const { heardAt } = await store.read.feeds.figures(name, today)
      return { name, heardAt, silent: isSilent(heardAt, now, zone) }
    }),
  )
}

const STATES: Record<Line['state'], string> = { act: '▲ Act', unknown: '? Not known', good: '✓ Good' }

function standing(lines: readonly Line[]): Html {
  return html`<table class="ledger plain-table standing"><caption class="unseen">What to act on first</caption><thead><tr><th scope="col">State</th><th scope="col">What</th><th scope="col">Found</th></tr></thead>
<tbody>${lines.map(({ state, name, says, act }) => html`<tr><td>${state === 'act' ? html`<b class="act">${STATES[state]}</b>` : STATES[state]}</td><th scope="row">${name}</th><td>${says}${act && html`<br><b class="act">${act}</b>`}</td></tr>`)}</tbody></table>`
}

function queue({ waiting }: MessageFigures): Html {
  const count = (state: string) => {
    const { count: found, more } = waiting.find((each) => each.state === state)!
    return more ? `More than ${found.toLocaleString('en')}` : found
  }
  return html`<div><dt>Planned, not yet in the queue</dt><dd>${count('planned')}</dd></div><div><dt>In the queue</dt><dd>${count('queued')}</dd></div><div><dt>Being sent</dt><dd>${count('sending')}</dd></div>`
}

function gateways(all: readonly Gateway[]): Html {
  if (all.length === 0) return html`<p class="empty">No gateway is set up: nothing can be sent.</p>`
  return html`<table class="ledger plain-table"><caption class="unseen">Gateways</caption><thead><tr><th
    scope="col">Name</th><th scope="col">Carries</th><th scope="col">Receipts</th></tr></thead>
<tbody>${all.map(({ name, channels, receipts }) => html`<tr><td>${name}</td><td>${channels.join(', ')}</td><td>${receipts === false ? 'Gives none' : 'Yes'}</td></tr>`)}</tbody></table>`
}

function troubles({ troubles: all }: MessageFigures, sheet: PageContext): Html {
  if (all.length === 0) return html`<p class="empty">Everything that was sent arrived, or is on its way.</p>`
  return html`<table class="ledger plain-table"><caption
    class="unseen">Messages that did not arrive</caption><thead><tr><th scope="col">Gateway</th><th
      scope="col">Reason</th><th scope="col">Messages</th><th scope="col">Last</th></tr></thead>
<tbody>${all.map(({ gateway, code, count, last }) => html`<tr><td>${gateway}</td><td>${code}</td><td>${count}</td><td>${sheet.dayAndClock(last, sheet.clinic.zone)}</td></tr>`)}</tbody></table>`
}
