import type { ClinicSettings, Clinic } from '../../../domain/region/clinic.ts'
import { USUAL_ASK_AGAIN_MONTHS } from '../../../domain/patients/changed-hands.ts'
import { USUAL_MOVE_LIMIT } from '../../../domain/visits/move-limit.ts'
import type { ClinicRecords } from '../../../flows/ports/deps.ts'
import { prepared } from '../prepared-statements.ts'
import type { ClinicTable } from '../tables.ts'
import type { Db } from '../connections.ts'

const COLUMNS = 'id, name, phone, zone, country, settings'
const BY_ID = prepared<ClinicTable>(`select ${COLUMNS} from clinic where id = $1`)
const BY_IDS = prepared<ClinicTable>(`select ${COLUMNS} from clinic where id = any($1)`)
const ALL = prepared<ClinicTable>(`select ${COLUMNS} from clinic order by id`)

/** What clinics have that were set up before it could be chosen. */
const SINCE = {
  moveLimit: USUAL_MOVE_LIMIT,
  emergency: null,
  address: null,
  directions: null,
  clock: '24' as const,
  secondOnPaper: false,
  visitMinutes: null,
  calendar: 'none' as const,
  calendarEdition: 1,
  minors: null,
  askAgainMonths: USUAL_ASK_AGAIN_MONTHS,
}

const toClinic = (row: ClinicTable): Clinic => ({
  ...row,
  settings: { ...SINCE, ...(JSON.parse(row.settings) as ClinicSettings) },
})

/** Those of these that exist, in any order. */
export async function clinicsById(db: Db, ids: readonly string[]): Promise<Clinic[]> {
  return ids.length === 0 ? [] : (await db.rows(BY_IDS, [ids])).map(toClinic)
}

export function clinicRecords(db: Db): ClinicRecords {
  return {
    get: async (id) => {
      const [row] = await db.rows(BY_ID, [id])
      return row && toClinic(row)
    },
    list: async () => (await db.rows(ALL)).map(toClinic),
    put: async (clinic) => {
      const { id, ...rest } = clinic
      const changes = { ...rest, settings: JSON.stringify(clinic.settings) }
      await db
        .insertInto('clinic')
        .values({ id, ...changes })
        .onConflict((on) => on.column('id').doUpdateSet(changes))
        .execute()
    },
  }
}
