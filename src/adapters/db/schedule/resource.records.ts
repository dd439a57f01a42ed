import { sql } from 'kysely'
import type { FeedRecords, Identified, ResourceVersion } from '../../../flows/ports/schedule.ts'
import type { Vault } from '../../vault/vault.ts'
import type { Db } from '../connections.ts'
import { sealedField } from '../sealed-field.ts'
import type { FeedRows } from './feed-rows.ts'

type Resources = Pick<FeedRecords, 'resources' | 'identified' | 'toldBy' | 'keepResource'>

/** Enough to know that there are several. */
const SEVERAL = 2

/** How often resources were told that their sender names by an address; of what they say, nothing. */
export function resourceRecords(db: Db, vault: Vault, rows: FeedRows): Resources {
  const field = sealedField<{ resource: string }>(vault, 'feed-resource')
  const idOf = (feed: string, resource: string) => vault.fingerprint(`feed ${feed} resource ${resource}`)
  const printOf = (feed: string, { system, value }: Identified) =>
    vault.fingerprint(`feed ${feed} identifier ${JSON.stringify([system, value])}`)
  const opened = ({ id, sealed, version, at }: { id: string; sealed: string; version: number; at: Date }) => ({
    ...{ resource: field.open(sealed, [id]).resource, version, at },
  })
  return {
    resources: async (feed, resources) => {
      if (resources.length === 0) return new Map<string, ResourceVersion>()
      const ids = resources.map((each) => idOf(feed, each))
      const { rows: found } = await sql<Parameters<typeof opened>[0]>`select id, sealed, version, at from feed_resource
        where id = any(${ids}::text[])`.execute(db)
      return new Map(found.map(opened).map((each) => [each.resource, each]))
    },
    identified: async (feed, identifier) => {
      const { rows: found } = await sql<Parameters<typeof opened>[0]>`select id, sealed, version, at from feed_resource
        where identifier_prints @> array[${printOf(feed, identifier)}]::text[] limit ${SEVERAL}`.execute(db)
      return found.map(opened)
    },
    toldBy: async (feed, resource) => {
      const { rows: found } = await sql<{ id: string; sealed: string }>`select v.id, v.sealed from feed_resource r
        join feed_visit v on v.id = r.visit_id where r.id = ${idOf(feed, resource)}`.execute(db)
      return found[0] && rows.openVisit(found[0]).key
    },
    keepResource: async (feed, { resource, version, at }, { key, identifiers }) => {
      const id = idOf(feed, resource)
      const told = {
        ...{ version, at, visit_id: key === null ? null : rows.prints(feed).visit(key) },
        ...{ identifier_prints: [...new Set(identifiers.map((each) => printOf(feed, each)))] },
      }
      const add = db.insertInto('feed_resource').values({ id, feed, ...told, sealed: field.seal({ resource }, id) })
      await add.onConflict((on) => on.column('id').doUpdateSet(told)).execute()
    },
  }
}
