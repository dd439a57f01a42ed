import { randomBytes } from 'node:crypto'
import type { GatewayMemory } from '../../flows/ports/gateway-memory.ts'
import { readKeyRing } from '../vault/key-ring.ts'
import { createVault, type Vault } from '../vault/vault.ts'
import { connectionTo } from './connection.ts'
import type { Db } from './connections.ts'
import { openEmbedded } from './embedded.ts'
import { sentPartRecords } from './messages/sent-part.records.ts'
import { migrate } from './migrate.ts'
import type { Database } from './pool.ts'
import { longReplyRecords } from './replies/long-reply.records.ts'
import { inTransaction } from './transaction.ts'

/** What gateways keep, in an opened database whose tables are up to date (see `openStore`). */
export function openGatewayMemory(database: Database, vault: Vault): GatewayMemory {
  const db: Db = connectionTo(database.records)
  return {
    longTexts: {
      ...longReplyRecords(db, vault),
      add: (part, id) => inTransaction(database.records, (trx: Db) => longReplyRecords(trx, vault).add(part, id)),
    },
    sentParts: sentPartRecords(db),
  }
}

/** For a command that has no database: opened when something is to be kept, and gone with the process. */
export function scratchMemory(): GatewayMemory {
  let opened: Promise<GatewayMemory> | undefined
  const open = async () => {
    const database = await openEmbedded(undefined)
    await migrate(database)
    return openGatewayMemory(database, createVault(readKeyRing(randomBytes(32).toString('base64'))))
  }
  const memory = () => (opened ??= open())
  return {
    longTexts: {
      add: async (...part) => (await memory()).longTexts.add(...part),
      due: async (...asked) => (await opened)?.longTexts.due(...asked) ?? [],
      heard: async (...heard) => (await memory()).longTexts.heard(...heard),
      forgetHeard: async (before) => (await opened)?.longTexts.forgetHeard(before),
    },
    sentParts: {
      accepted: async (part) => (await memory()).sentParts.accepted(part),
      told: async (receipt) => (await memory()).sentParts.told(receipt),
      ofSending: async (sending) => (await memory()).sentParts.ofSending(sending),
      untold: async (...asked) => (await opened)?.sentParts.untold(...asked) ?? [],
      done: async (sending) => (await memory()).sentParts.done(sending),
      forgetStray: async (before) => (await opened)?.sentParts.forgetStray(before),
    },
  }
}
