import type { Clinic } from '../../../domain/region/clinic.ts'
import type { Feed } from '../../../domain/schedule/feed.ts'
import type { Unmapped } from '../../../domain/schedule/unmapped.ts'
import type { FeedPart } from '../../../flows/ports/schedule.ts'
import type { PageContext } from '../desk/page-context.ts'
import { html, type Html } from '../pages/html.ts'

/** Clinics that whoever is here may name: their own, or all. */
export async function clinicsFor({ deps, clinic, who }: PageContext): Promise<Clinic[]> {
  return who.clinicId === null ? deps.store.read.clinics.list() : [clinic]
}

/** Codes that visits wait for, to be said what they are. */
export async function codeForms(
  sheet: PageContext,
  feed: Feed,
  { clinics, languages }: Unmapped,
): Promise<Html | null> {
  if (clinics.length === 0 && languages.length === 0) return null
  const ours = (await clinicsFor(sheet)).map(({ id, name }): [string, string] => [id, name])
  const spoken = [...sheet.library.languages.values()].map(({ code, name }): [string, string] => [code, name])
  return html`<h3>Names that nobody has explained</h3>
<p>Visits wait because of these. What you say holds from now on, and what waits is tried again.</p>
${clinics.map((code, index) => form(sheet, feed, { part: 'clinics', code, index, choices: ours }))}
${languages.map((code, index) => form(sheet, feed, { part: 'languages', code, index, choices: spoken }))}`
}

interface Asked {
  part: FeedPart
  code: string
  index: number
  choices: readonly [value: string, words: string][]
}

function form(sheet: PageContext, { name }: Feed, { part, code, index, choices }: Asked): Html {
  const id = `${part}-${name}-${index}`
  const asks = part === 'clinics' ? `The place “${code}” is` : `The language “${code}” is`
  return html`<form class="chooser" method="post" action="${sheet.at(`feeds/${name}/code`)}"><input type="hidden"
  name="part" value="${part}"><input type="hidden" name="code" value="${code}">
<div class="field"><label for="${id}">${asks}</label><select id="${id}" name="ours" required><option
  value="">Choose</option>${choices.map(([value, words]) => html`<option value="${value}">${words}</option>`)}</select></div>
<button>Say so</button></form>
`
}
