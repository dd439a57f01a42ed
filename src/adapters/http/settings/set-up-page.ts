import type { Person } from '../../../flows/ports/access.ts'
import type { Deps } from '../../../flows/ports/deps.ts'
import {
  doneSteps,
  isSetUp,
  readSetUp,
  SET_UP_STEPS,
  type SetUp,
  type SetUpStep,
} from '../../../flows/region/set-up.ts'
import type { PageContent } from '../desk/page-context.ts'
import { html, type Html } from '../pages/html.ts'
import { addressOf, PAGES } from './settings-frame.ts'
import type { SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

export function mountSetUp(pages: SettingsPages): void {
  pages.get('', setUpPage)
}

/** Where somebody begins who has just chosen a password: an administrator at what is left to be set up. */
export async function firstPlace(deps: Deps, { role }: Person): Promise<string> {
  return role === 'administrator' && !isSetUp(await readSetUp(deps)) ? '/settings' : '/desk'
}

async function setUpPage(sheet: SettingsContext): Promise<PageContent> {
  const setUp = await readSetUp(sheet.deps)
  const done = doneSteps(setUp)
  const left = SET_UP_STEPS.filter((step) => !done[step]).length
  const others = PAGES.filter(({ path, may }) => path !== '' && sheet.may(may))
  return {
    title: 'Set-up',
    here: '',
    body: html`<p class="headline">${left === 0 ? 'Everything is set up.' : `${left} of 5 steps are left to do.`}</p>
<ol class="steps">${SET_UP_STEPS.map((step) => stepItem(step, done[step], setUp))}</ol>
<h2>All settings</h2>
<ul class="clinics">${others.map(
      ({ path, name, says }) => html`<li><a href="${addressOf(path)}">${name}</a> <small>${says}</small></li>\n`,
    )}${deskPages(sheet)}</ul>`,
  }
}

const TITLES: Record<SetUpStep, string> = {
  clinic: 'The clinic: its name, number and hours',
  gateway: 'What carries the messages',
  texts: 'The texts, read and approved',
  people: 'People who sign in',
  times: 'Openings, and a first booking',
}

function stepItem(step: SetUpStep, done: boolean, setUp: SetUp): Html {
  return html`<li${!done && html` class="open"`}><a href="${whereTo(step, setUp)}">${TITLES[step]}</a> ${
    done ? html`<span class="done">done</span>` : html`<b class="act">to do</b>`
  }
<small>${WORDS[step](setUp)}</small></li>
`
}

/** Texts and openings are pages of a clinic's desk; without a clinic, making one comes first. */
function whereTo(step: SetUpStep, { clinics, fictional }: SetUp): string {
  const [first] = clinics
  const desk = (page: string) =>
    first === undefined ? '/settings/clinics/new' : `/desk/${encodeURIComponent(first.id)}/${page}`
  switch (step) {
    case 'clinic': {
      const [wrong] = fictional
      if (first === undefined) return '/settings/clinics/new'
      return wrong === undefined ? '/settings/clinics' : `/settings/clinics/${encodeURIComponent(wrong.id)}`
    }
    case 'gateway':
      return '/settings/gateways'
    case 'texts':
      return desk('texts')
    case 'people':
      return '/settings/people'
    case 'times':
      return desk('openings')
  }
}

const names = (clinics: readonly { name: string }[]) => clinics.map(({ name }) => name).join(', ')

/** How things stand with each step, in a sentence. */
const WORDS: Record<SetUpStep, (setUp: SetUp) => string> = {
  clinic: ({ clinics, fictional }) => {
    if (clinics.length === 0) return 'There is no clinic yet.'
    if (fictional.length === 0) return names(clinics)
    return `Nobody answers at the number of ${names(fictional)}: it is set apart for fiction. Write the clinic's own.`
  },
  gateway: ({ trial, unreached, clinics }) => {
    if (trial) return 'Nobody is reached: there is no gateway yet but the simulated phones.'
    if (unreached.length > 0) return `Nobody is reached by ${names(unreached)}: choose a gateway on the clinic's page.`
    return clinics.length === 1 ? 'Messages of the clinic reach people.' : 'Messages of every clinic reach people.'
  },
  texts: ({ languages }) =>
    languages.length > 0
      ? `Every text is approved in ${languages.length === 1 ? '1 language' : `${languages.length} languages`}.`
      : 'No language is approved as a whole. Read the texts on the contact sheet, then approve them.',
  people: ({ people }) =>
    people >= 2
      ? `${people} people may sign in.`
      : 'Add the front desk, and a second administrator, so that a way in is left when one is away.',
  times: ({ openings, booked }) => {
    const missing = [!openings && 'no openings to offer', !booked && 'no booking'].filter(Boolean)
    return missing.length === 0 ? 'Openings and bookings are there.' : `There are ${missing.join(', and ')} yet.`
  },
}

/** What is settled for one clinic at a time stands on its desk. */
function deskPages({ clinics, may }: SettingsContext): Html[] {
  const all: [path: string, name: string, says: string, isShown: boolean][] = [
    ['texts', 'Texts', 'read and approve them', may('texts:read')],
    ['sending', 'Sending', 'stop all messages, let them go on', may('service:read')],
    ['service', 'Service', 'what waits, what did not arrive', may('service:read')],
  ]
  const shown = all.filter(([, , , isShown]) => isShown)
  return clinics
    .slice(0, 1)
    .flatMap(({ id }) =>
      shown.map(
        ([path, name, says]) =>
          html`<li><a href="/desk/${encodeURIComponent(id)}/${path}">${name}</a> <small>${says} (at the desk)</small></li>\n`,
      ),
    )
}
