import { checkHistory } from '../../../domain/preparation/cycle/check-history.ts'
import type { CycleHistory } from '../../../domain/preparation/cycle/history.ts'
import { dateIn } from '../../../domain/local-time.ts'
import type { PageContext } from '../desk/page-context.ts'
import { html, type Html } from '../pages/html.ts'

/** What the desk should look into before it relies on the forecast. Nothing of it is for the patient to read. */
export function doubtList({ now }: PageContext, zone: string, cycle: CycleHistory): Html[] {
  return checkHistory(cycle, dateIn(now, zone)).map(({ message }) => html`<p class="note">Check: ${message}</p>`)
}
