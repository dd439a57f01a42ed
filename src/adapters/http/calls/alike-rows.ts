import type { FollowUpReason } from '../../../domain/calls/follow-up.ts'
import { badInput } from '../../../domain/failure.ts'
import type { AlikeQuery } from '../../../flows/ports/deps.ts'
import type { PageContext } from '../desk/page-context.ts'
import { subjectsOf, type CallSubject } from './call-subjects.ts'

const AT_ONCE = 500

/** Rows of a list, the soonest visit first. */
export async function rowsOf(sheet: PageContext, query: Omit<AlikeQuery, 'clinicId'>): Promise<CallSubject[]> {
  const { deps, clinic } = sheet
  return subjectsOf(sheet, await deps.store.read.followUps.alike({ ...query, clinicId: clinic.id }))
}

/** The whole list, however long. */
export async function allRows(sheet: PageContext, reason: FollowUpReason): Promise<CallSubject[]> {
  const rows: CallSubject[] = []
  for (;;) {
    const last = rows.at(-1)
    const after = last && { at: last.booking?.visitAt ?? last.followUp.openedAt, id: last.followUp.id }
    const some = await rowsOf(sheet, { reason, limit: AT_ONCE, ...(after && { after }) })
    rows.push(...some)
    if (some.length < AT_ONCE) return rows
  }
}

/**
 * Those ticked, wherever they stand by now, and how many of them somebody else has closed meanwhile.
 * @throws bad-input where none is left
 */
export async function chosenRows(
  sheet: PageContext,
  reason: FollowUpReason,
): Promise<{ rows: CallSubject[]; gone: number }> {
  const ids = [...new Set([sheet.form.chosen ?? []].flat())]
  const rows = ids.length === 0 ? [] : await rowsOf(sheet, { reason, ids, limit: ids.length })
  if (rows.length === 0) badInput('chosen', 'Choose at least one patient of the list.')
  return { rows, gone: ids.length - rows.length }
}
