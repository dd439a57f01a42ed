import type { Gateway } from '../../../flows/ports/gateway.ts'
import type { MessageFigures } from '../../../flows/ports/deps.ts'
import { html, type Html } from '../pages/html.ts'
import type { Desk } from './page.ts'
import type { Answer } from './page-context.ts'
import type { PageContext } from './page-context.ts'
import { age } from './when.ts'

const DAY_MS = 86_400_000

export function mountService(desk: Desk): void {
  desk.get('service', service)
}

/** How the service is doing: figures only, of all clinics together; nothing about anybody. */
async function service(sheet: PageContext): Promise<Answer> {
  const { deps, now } = sheet
  const { read } = deps.store
  const figures = await read.messages.figures(now, new Date(now.getTime() - DAY_MS))
  const optedOut = await read.optOuts.count()
  return {
    title: 'Service',
    here: 'service',
    body: html`<section id="service" data-live hx-get="${sheet.at('service')}" hx-trigger="news" hx-select="#service"
      hx-swap="outerHTML" aria-label="Figures of the service">
<dl class="facts">${queue(figures, sheet)}<div><dt>Numbers that want no messages</dt><dd>${optedOut}</dd></div></dl>
<h2>Gateways</h2>${gateways([...deps.gateways.values()], sheet)}
<h2>Did not arrive, last 24 hours</h2>${troubles(figures, sheet)}
<p><a href="${sheet.at('sending')}">Stop all sending, or let it go on</a></p>
<p>Figures of all clinics together, as of ${sheet.dayAndClock(now, sheet.clinic.zone)}.</p></section>`,
  }
}

function queue({ waiting, oldestDue }: MessageFigures, { now }: PageContext): Html {
  const count = (state: string) => {
    const { count: found, more } = waiting.find((each) => each.state === state)!
    return more ? `More than ${found.toLocaleString('en')}` : found
  }
  return html`<div><dt>Planned, not yet in the queue</dt><dd>${count('planned')}</dd></div><div><dt>In the queue</dt><dd>${count('queued')}</dd></div><div><dt>Being sent</dt><dd>${count('sending')}</dd></div><div><dt>Oldest that should have gone</dt><dd>${oldestDue ? html`<b class="act">${age(oldestDue, now)} late</b>` : 'None is late'}</dd></div>`
}

function gateways(all: readonly Gateway[], sheet: PageContext): Html {
  if (all.length === 0) return html`<p class="empty">No gateway is set up: nothing can be sent.</p>`
  return html`<table class="ledger plain-table"><caption class="unseen">Gateways</caption><thead><tr><th
    scope="col">Name</th><th scope="col">Carries</th><th scope="col">Receipts</th><th
      scope="col">State</th></tr></thead>
<tbody>${all.map((gateway) => html`<tr><td>${gateway.name}</td><td>${gateway.channels.join(', ')}</td><td>${gateway.receipts === false ? 'Gives none' : 'Yes'}</td><td>${health(gateway, sheet)}</td></tr>`)}</tbody></table>`
}

function health(gateway: Gateway, sheet: PageContext): Html | string {
  const state = gateway.health?.()
  if (!state) return 'Does not say'
  return state.ok
    ? 'Messages go through'
    : html`<b class="act">Nothing goes through since ${sheet.dayAndClock(state.since, sheet.clinic.zone)}: ${state.code}</b>`
}

function troubles({ troubles: all }: MessageFigures, sheet: PageContext): Html {
  if (all.length === 0) return html`<p class="empty">Everything that was sent arrived, or is on its way.</p>`
  return html`<table class="ledger plain-table"><caption
    class="unseen">Messages that did not arrive</caption><thead><tr><th scope="col">Gateway</th><th
      scope="col">Reason</th><th scope="col">Messages</th><th scope="col">Last</th></tr></thead>
<tbody>${all.map(({ gateway, code, count, last }) => html`<tr><td>${gateway}</td><td>${code}</td><td>${count}</td><td>${sheet.dayAndClock(last, sheet.clinic.zone)}</td></tr>`)}</tbody></table>`
}
