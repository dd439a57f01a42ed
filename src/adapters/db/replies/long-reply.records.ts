import type { LongText, LongTexts, NewPart, TextPart } from '../../../flows/ports/gateway-memory.ts'
import type { Vault } from '../../vault/vault.ts'
import type { Db } from '../connections.ts'
import { prepared } from '../prepared-statements.ts'
import { sealedField } from '../sealed-field.ts'
import type { LongReplyTable } from '../gateway-memory.tables.ts'

interface Sealed {
  from: string
  to: string
  reference: number
  parts: (TextPart | null)[]
}

const COLUMNS = `id, gateway, text_print, phone_print, total, part_prints, sealed, came_at, closed_at, heard_at`
/** Makes the open text of this name or locks the one there is: until the transaction ends nobody else adds to it. */
const OPEN = prepared<LongReplyTable>(`insert into long_reply
    (id, gateway, text_print, phone_print, total, part_prints, came_at) values ($1, $2, $3, $4, $5, '{}', $6)
  on conflict (text_print) where closed_at is null do update set text_print = excluded.text_print
  returning ${COLUMNS}`)
const CLOSED = prepared<LongReplyTable>(`select ${COLUMNS} from long_reply
  where text_print = $1 and closed_at is not null order by came_at`)
const PUT = prepared('update long_reply set part_prints = $2, sealed = $3, closed_at = $4 where id = $1')
const CLOSE = prepared('update long_reply set closed_at = $2 where id = $1')
const REMOVE = prepared('delete from long_reply where id = $1')
const CLOSE_OLD = prepared<LongReplyTable>(`update long_reply set closed_at = $4
  where closed_at is null and heard_at is null and came_at <= $2 and (gateway = $1 or came_at <= $3)
  returning ${COLUMNS}`)
const LEFT = prepared<LongReplyTable>(`select ${COLUMNS} from long_reply
  where heard_at is null and closed_at <= $2 and (gateway = $1 or came_at <= $3) order by came_at limit 200`)
const HEARD = prepared('update long_reply set heard_at = $2, sealed = null where id = $1')
const FORGET = prepared('delete from long_reply where heard_at <= $1')

/** Long texts on their way in. `add` belongs in a transaction of its own. */
export function longReplyRecords(db: Db, vault: Vault): LongTexts {
  const { toText } = sealing(vault)
  const readable = (rows: LongReplyTable[]) => rows.flatMap((row) => toText(row) ?? [])
  return {
    add: (part, id) => addPart(db, vault, part, id),
    due: async (gateway, { began, closed, orphaned }, now) => {
      const left = await db.rows(LEFT, [gateway, closed, orphaned])
      const old = await db.rows(CLOSE_OLD, [gateway, began, orphaned, now])
      return readable([...left, ...old])
    },
    heard: (id, at) => db.write(HEARD, [id, at]),
    forgetHeard: (before) => db.write(FORGET, [before]),
  }
}

function sealing(vault: Vault) {
  const field = sealedField<Sealed | null>(vault, 'long-reply')
  return {
    seal: (value: Sealed, id: string) => field.seal(value, id),
    /** Null where it is heard already, or cannot be read: then nobody knows whose it is. */
    toText: ({ id, gateway, total, sealed, came_at: at }: LongReplyTable): LongText | null => {
      const opened = sealed === null ? null : field.open(sealed, [id], () => null)
      return opened && { id, gateway, total, at, ...opened }
    },
  }
}

async function addPart(db: Db, vault: Vault, { name, number, part, at }: NewPart, id: string): Promise<LongText[]> {
  const { gateway, from, to, reference, total } = name
  const textPrint = vault.fingerprint(`long text ${JSON.stringify([gateway, from, to, reference, total])}`)
  const print = vault.fingerprint(`part ${textPrint} ${number} ${part.coding} ${part.octets}`)
  const { seal, toText } = sealing(vault)
  const open = () => db.rows(OPEN, [id, gateway, textPrint, vault.fingerprint(from), total, at])
  // What was closed is looked for once nobody else can be about to close it.
  const [[found], closed] = await Promise.all([open(), db.rows(CLOSED, [textPrint])])
  const known = closed.find(
    (row) => row.part_prints[number - 1] === print && (row.heard_at !== null || toText(row) !== null),
  )
  if (known) {
    if (found!.id === id) await db.write(REMOVE, [id])
    return [toText(known) ?? []].flat()
  }
  const there = found!.part_prints[number - 1] ?? ''
  if (there === print) return []
  const isOther = there !== '' || (found!.sealed !== null && toText(found!) === null)
  if (isOther) await db.write(CLOSE, [found!.id, at])
  const row = isOther ? (await open())[0]! : found!
  const parts = toText(row)?.parts ?? Array<TextPart | null>(total).fill(null)
  parts[number - 1] = part
  const prints = Array.from({ length: total }, (_, n) => (n === number - 1 ? print : (row.part_prints[n] ?? '')))
  const isWhole = parts.every((one) => one !== null)
  const sealed = seal({ from, to, reference, parts }, row.id)
  await db.write(PUT, [row.id, prints, sealed, isWhole ? at : null])
  return [...(isOther ? [toText(found!) ?? []].flat() : []), ...(isWhole ? [toText({ ...row, sealed })!] : [])]
}
