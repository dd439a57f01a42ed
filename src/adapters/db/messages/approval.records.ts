import type { Approval } from '../../../domain/messages/texts/approval.ts'
import type { ApprovalRecords } from '../../../flows/ports/deps.ts'
import type { Db } from '../connections.ts'

export function approvalRecords(db: Db): ApprovalRecords {
  return {
    all: async () => {
      const columns = ['language', 'key', 'digest', 'approved_by', 'approved_on'] as const
      const rows = await db.selectFrom('text_approval').select(columns).execute()
      return rows.map(({ approved_by: by, approved_on: on, ...words }) => ({ ...words, by, on }))
    },
    put: async (approvals, at) => {
      if (approvals.length === 0) return
      const renamed = ({ by, on }: Approval) => ({ approved_by: by, approved_on: on, recorded_at: at })
      const rows = approvals.map(({ by, on, ...words }) => ({ ...words, ...renamed({ by, on }) }))
      await db
        .insertInto('text_approval')
        .values(rows)
        .onConflict((again) =>
          again.columns(['language', 'key', 'digest']).doUpdateSet(({ ref }) => ({
            approved_by: ref('excluded.approved_by'),
            approved_on: ref('excluded.approved_on'),
            recorded_at: ref('excluded.recorded_at'),
          })),
        )
        .execute()
    },
  }
}
