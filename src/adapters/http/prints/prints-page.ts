import type { Permission } from '../../../domain/access/roles.ts'
import { Failure } from '../../../domain/failure.ts'
import { withOffset } from '../../../domain/local-time.ts'
import type { Desk } from '../desk/page.ts'
import type { Answer, Download, PageContext } from '../desk/page-context.ts'
import { html } from '../pages/html.ts'
import { printOf, shownOn, type ClinicPrint } from './print-data.ts'
import { printedFile, printedPage } from './print-file.ts'
import { typingIn } from './print-forms.ts'

export function mountPrints(desk: Desk): void {
  desk.get('prints', (sheet) => Promise.resolve(aboutPrints(sheet)))
  desk.raw('prints/paper', async (sheet) => printedPage(await read(sheet)))
  desk.get('prints/file', printFile)
}

/** What the paper is for. It shows no patient. */
function aboutPrints(sheet: PageContext): Answer {
  return {
    title: 'Paper for a day',
    here: 'prints',
    rules: true,
    body: html`<p>Everything to work by while the service is down: the day sheets for the rest of today and for tomorrow, the open calls, what was sent and what is still to be told, the free times of a week, and forms for what is taken on paper. Print it before every planned stop.</p>
<p><a class="button main" href="${sheet.at('prints/paper')}">Show the paper, to print</a> <a class="button"
  href="${sheet.at('prints/file')}">Take it away as a file</a></p>
<p class="note">It holds data about patients. Do not let it lie about, and destroy it once everything is typed in. Whoever opens it stands in the record of who saw what.</p>
${typingIn()}`,
  }
}

/** All that the paper shows must be open to whoever asks: a key may have been given less than any role has. */
const ASKED: readonly Permission[] = ['calls:read', 'visits:read', 'day-sheet:read']

/** @throws forbidden */
async function read({ deps, clinic, who, may }: PageContext): Promise<ClinicPrint> {
  const missing = ASKED.filter((each) => !may(each))
  if (missing.length > 0)
    throw new Failure('forbidden', { message: `This asks for the permissions ${ASKED.join(', ')}.` })
  return printOf(deps, clinic, who.name)
}

async function printFile(sheet: PageContext): Promise<Download> {
  const print = await read(sheet)
  const at = withOffset(print.now, print.clinic.zone).slice(0, 16).replace(':', '-')
  return {
    file: `paper-${print.clinic.id}-${at}.html`,
    type: 'text/html; charset=utf-8',
    content: printedFile(print),
    shows: shownOn(print),
  }
}
