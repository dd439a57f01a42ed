import type { Gateway } from '../../../flows/ports/gateway.ts'
import { Failure } from '../../../domain/failure.ts'
import { TEST_TEXT, tryGateway, type TestStep } from '../../../flows/messages/test-message.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import { field } from '../desk/page.ts'
import { html, type Html } from '../pages/html.ts'
import { faultSummary, inputField, selectField, type Faults } from './form-fields.ts'
import type { SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

export function mountGateways(pages: SettingsPages): void {
  pages.get('gateways', (sheet) => gatewaysPage(sheet, {}))
  pages.post('gateways', sendTest)
}

const COLUMNS = ['Name', 'Carries', 'Reaches', 'Used by', 'Says what arrived', 'State']
const CHANNELS = { sms: 'texts', voice: 'calls', email: 'e-mail' } as const

function gatewaysPage(sheet: SettingsContext, faults: Faults, steps: readonly TestStep[] = []): Answer {
  const all = [...sheet.deps.gateways.values()].sort(
    (a, b) => Number(a.simulated === true) - Number(b.simulated === true),
  )
  const page: PageContent = {
    title: 'Gateways',
    here: 'gateways',
    body: html`${faultSummary(faults, 'Nothing was sent.')}${steps.length > 0 && stepsSeen(steps)}
<p>A gateway is the contract with a telephone company or a texting provider that carries messages out and replies in.
Each clinic says on its page which one it uses.</p>
${
  all.length === 0
    ? html`<p class="empty">No gateway is set up: nothing can be sent.</p>`
    : html`<table class="ledger plain-table"><caption class="unseen">Gateways</caption>
<thead><tr>${COLUMNS.map((name) => html`<th scope="col">${name}</th>`)}</tr></thead>
<tbody>${all.map((gateway) => gatewayRow(sheet, gateway))}</tbody></table>`
}
${sheet.may('clinics:write') && testForm(sheet, all, faults)}
<h2>Add a gateway</h2>
<p>A gateway is described by a file in the folder that the setting GATEWAYS_DIR names. It holds the provider's address and
where its password is found, never the password itself, so it is not typed on a page. Whoever runs the service adds it:
examples are in infra/gateways, what each line means is in src/adapters/gateways/README.md. It is there from the next
start on.</p>`,
  }
  return Object.keys(faults).length > 0 ? { status: 422, page } : page
}

function gatewayRow(sheet: SettingsContext, gateway: Gateway): Html {
  const users = sheet.clinics.filter(({ settings }) => settings.gateway === gateway.name)
  return html`<tr><td><b>${gatewayWords(gateway)}</b></td>
<td>${gateway.channels.map((channel) => CHANNELS[channel]).join(', ')}</td>
<td>${gateway.simulated === true ? html`<b class="act">Nobody</b>` : 'People'}</td>
<td>${users.length === 0 ? 'No clinic' : users.map(({ name }) => name).join(', ')}</td>
<td>${gateway.receipts === false ? 'No' : 'Yes'}</td><td>${health(gateway, sheet)}</td></tr>
`
}

/** The simulated one is nothing that a clinic would know by its name. */
export function gatewayWords({ name, simulated }: Pick<Gateway, 'name' | 'simulated'>): string {
  return simulated === true ? `Simulated phones (trial)${name === 'pocket' ? '' : `, ${name}`}` : name
}

function health(gateway: Gateway, { zone, dayAndClock }: SettingsContext): Html | string {
  const state = gateway.health?.()
  if (!state) return 'Does not say'
  if (state.ok) return 'Messages go through'
  return html`<b class="act">Nothing goes through since ${dayAndClock(state.since, zone)}</b> <small>${state.code}</small>`
}

function testForm(sheet: SettingsContext, all: readonly Gateway[], faults: Faults): Html {
  const choices = all.map((gateway) => [gateway.name, gatewayWords(gateway)] as const)
  const attributes = { type: 'tel', size: '20' }
  const hint = 'With + and the country code.'
  const to = { name: 'to', label: 'To a telephone of yours', hint, value: field(sheet, 'to'), attributes }
  return html`<section aria-labelledby="test-h"><h2 id="test-h">Send a test</h2>
<p>Sends this one text to a telephone of yours: “${TEST_TEXT}” It is recorded that it was sent, and by whom.</p>
<form class="settings-form" method="post" action="/settings/gateways" novalidate>
${selectField(faults, { name: 'gateway', label: 'Through', value: field(sheet, 'gateway') }, choices)}
${inputField(faults, to)}
<button class="main">Send the test</button></form></section>`
}

/** What became of the test, step by step. */
function stepsSeen(steps: readonly TestStep[]): Html {
  return html`<section class="note" role="status" aria-label="What became of the test"><dl class="plainly">${steps.map(
    ({ step, says }) => html`<div><dt>${step}</dt><dd>${says}</dd></div>`,
  )}</dl></section>`
}

async function sendTest(sheet: SettingsContext): Promise<Answer> {
  const { deps, who } = sheet
  try {
    const hand = { kind: who.kind, id: who.id, by: who.name }
    return gatewaysPage(sheet, {}, await tryGateway(deps, field(sheet, 'gateway'), field(sheet, 'to'), hand))
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    return gatewaysPage(sheet, { [error.detail.field ?? 'gateway']: error.detail.message })
  }
}
