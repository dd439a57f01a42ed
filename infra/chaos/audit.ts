import type { Selectable } from 'kysely'
import { DateTime } from 'luxon'
import type { Acceptance } from './ledger.ts'
import { reasonCodes } from '../../src/adapters/db/calls/reason-codes.ts'
import type { EventTable } from '../../src/adapters/db/tables.ts'
import { openEvent } from '../../src/adapters/db/visits/event.records.ts'
import type { Vault } from '../../src/adapters/vault/vault.ts'
import type { FollowUpReason } from '../../src/domain/calls/follow-up.ts'
import { MESSAGE_KINDS } from '../../src/domain/messages/texts/message-kinds.ts'
import type { TextKind } from '../../src/domain/messages/texts/kinds.ts'

/** What the audit needs of a database: only reading. */
export type Ask = (sql: string) => Promise<Record<string, unknown>[]>

export interface Evidence {
  ask: Ask
  /** Opens what the service has sealed. */
  vault: Vault
  /**
   * `earliest`: what the service's clock can have said when it handed this over. `floor`: the same if it was slow
   * between its last check and the handing over.
   */
  acceptances: readonly (Acceptance & { earliest: Date; floor: Date })[]
  /** How often a fault has left each message in doubt. */
  doubts: ReadonlyMap<string, number>
  booked: ReadonlyMap<string, string>
  stopped: ReadonlyMap<string, Date>
  heard: ReadonlySet<string>
  now: Date
}

export interface Finding {
  rule: string
  looked: number
  breaches: string[]
}

interface Row {
  id: string
  booking_id: string | null
  kind: TextKind
  state: string
  code: string | null
  send_at: Date
  not_after: Date
  claimed_at: Date | null
  revision: number | null
  unsolicited: boolean
  fallback_of: string | null
}

const ZONE = 'America/Halifax'
/** Clocks of different machines may differ by this much. */
const SKEW_MS = 60_000
const FINAL = new Set(['sent', 'delivered', 'undelivered', 'failed', 'expired', 'withdrawn'])

/** Compares what the network wrote down with what the database says. */
export async function audit(evidence: Evidence): Promise<Finding[]> {
  const { ask, now } = evidence
  const messages = (await ask('select * from message')) as unknown as Row[]
  const counts = tally(evidence.acceptances.map(({ id }) => id))
  const facts: Facts = {
    ...evidence,
    counts,
    messages,
    byId: new Map(messages.map((each) => [each.id, each])),
    ...(await surroundings(ask, evidence.vault)),
  }
  const due = messages.filter(({ send_at }) => send_at.getTime() < now.getTime() - 5 * 60_000)
  return [
    finding('every message due is settled', due, ({ state }) => FINAL.has(state)),
    finding(
      'what was sent, the network has',
      messages.filter(({ state }) => ['sent', 'delivered'].includes(state)),
      ({ id }) => facts.counts.has(id),
    ),
    finding(
      'what the network has, is known to be sent or in doubt',
      [...facts.counts.keys()].map((id) => facts.byId.get(id) ?? { id }),
      ({ id }) => isKnown(facts, id),
    ),
    finding('what mattered and was not sent, a person must call about', due.filter(mattersUnsent), (row) =>
      // That a visit is cancelled ends every other call about it.
      (row.kind === 'cancelled' ? facts.lost : facts.called).has(row.booking_id ?? ''),
    ),
    finding(
      'nothing twice but what a fault left in doubt, and each is recorded',
      twice(facts),
      ({ count, doubts, resent }) => count <= 1 + Math.min(doubts, resent),
    ),
    finding(
      'nothing after STOP',
      facts.acceptances.map((each) => afterwards(facts, each)),
      ({ late }) => !late,
    ),
    finding('nothing after its end', facts.acceptances, (each) => checkedAt(facts, each) <= each.notAfter),
    finding('nothing unasked outside sending hours', unasked(facts), (each) => inHours(facts, each)),
    finding('no number over its cap', phonesOf(facts), ([, checked, at]) => withinCap(checked) || withinCap(at)),
    finding(
      'no time booked twice',
      await ask(
        `select clinic_id, clinician, visit_at, count(*)::int as n from booking where state = 'booked' group by 1, 2, 3`,
      ),
      ({ n }) => n === 1,
    ),
    finding('every visit has its time', await ask(VISITS_AND_SLOTS), ({ slots }) => slots === 1),
    finding(
      'no hold left over',
      await ask(
        `select booking_id, held_until, (select count(*)::int from offer where offer.booking_id = slot.booking_id and offer.state in ('open', 'waiting')) as offers from slot where state = 'held'`,
      ),
      ({ held_until, offers }) => (held_until as Date) > now && offers === 1,
    ),
    finding('every booking that was acknowledged is there', [...evidence.booked.values()], (id) =>
      facts.bookings.has(id),
    ),
    finding(
      'every reply that was acknowledged was heard once',
      [...evidence.heard],
      (key) => facts.replies.get(key) === 1,
    ),
    finding('what was done about a reply was done once', facts.acted, (id) => facts.kept.has(id)),
    finding(
      'no claim left open',
      messages.filter(({ state }) => state === 'sending'),
      () => false,
    ),
  ]
}

type Facts = Evidence & { messages: Row[]; byId: Map<string, Row>; counts: Map<string, number> } & Awaited<
    ReturnType<typeof surroundings>
  >

const VISITS_AND_SLOTS = `select booking.id, (select count(*)::int from slot where slot.booking_id = booking.id and slot.starts_at = booking.visit_at and slot.state = 'taken') as slots
  from booking where state = 'booked'`

async function surroundings(ask: Ask, vault: Vault) {
  const codes = reasonCodes(vault)
  const calledFor = (...reasons: FollowUpReason[]) =>
    ask(
      `select booking_id from follow_up where reason in (${codes
        .stored(reasons)
        .map((code) => `'${code}'`)
        .join()})`,
    )
  const factsOf = async (what: string, name: string) =>
    ((await ask(`select * from happening where what = '${what}'`)) as unknown as Selectable<EventTable>[]).map(
      (row) => ({ id: openEvent(row, vault).facts[name] }),
    )
  const again = await factsOf('sent-again', 'message')
  const calls = await calledFor(
    ...(['not-delivered', 'not-told', 'send-unknown', 'opted-out', 'cannot-come', 'no-opening'] as const),
  )
  const replies = await ask('select key, count(*)::int as n from reply group by key')
  // A text that is told twice is kept once, under the id of the first.
  const acted = await factsOf('reply', 'reply')
  const kept = await ask('select id from reply')
  const unknown = await calledFor('send-unknown', 'courtesy-unknown')
  const lost = await calledFor('text-lost')
  return {
    resent: tally(again.map(({ id }) => id as string)),
    called: new Set(calls.map(({ booking_id }) => booking_id as string)),
    lost: new Set(lost.map(({ booking_id }) => booking_id as string)),
    asked: new Set(unknown.map(({ booking_id }) => booking_id as string)),
    acted: acted.map(({ id }) => id as string),
    kept: new Set(kept.map(({ id }) => id as string)),
    replies: new Map(replies.map(({ key, n }) => [key as string, n as number])),
    bookings: new Set((await ask('select id from booking')).map(({ id }) => id as string)),
  }
}

function tally(ids: readonly string[]): Map<string, number> {
  const counts = new Map<string, number>()
  for (const id of ids) counts.set(id, (counts.get(id) ?? 0) + 1)
  return counts
}

export function finding<T>(rule: string, subjects: readonly T[], holds: (subject: T) => boolean): Finding {
  const breaches = subjects.filter((subject) => !holds(subject)).map((subject) => JSON.stringify(subject).slice(0, 500))
  return { rule, looked: subjects.length, breaches }
}

const mattersUnsent = ({ kind, state }: Row) =>
  MESSAGE_KINDS[kind].lost === 'call' && ['expired', 'failed'].includes(state)

/** Accepted by the network: known as sent; or its fate was unknown, and that is written down where a person sees it. */
function isKnown({ byId, resent, asked }: Facts, id: string): boolean {
  const row = byId.get(id)
  if (!row) return false
  return (
    ['sent', 'delivered'].includes(row.state) ||
    (row.state === 'undelivered' &&
      (row.code !== 'claim-lost' || asked.has(row.booking_id ?? '') || row.booking_id === null)) ||
    resent.has(id)
  )
}

const twice = ({ counts, doubts, resent, acceptances, byId }: Facts) =>
  [...counts]
    .filter(([, count]) => count > 1)
    .map(([id, count]) => ({
      id,
      count,
      doubts: doubts.get(id) ?? 0,
      resent: resent.get(id) ?? 0,
      at: acceptances.filter((each) => each.id === id).map(({ at }) => at),
      row: byId.get(id),
    }))

/**
 * What the service's clock said when it last looked whether this may go: what it wrote down when it claimed the
 * message, if that can be; else the earliest it can have been.
 */
function checkedAt(
  { byId, acceptances }: Facts,
  { id, at, earliest, floor, ref }: Pick<Facts['acceptances'][number], 'id' | 'at' | 'earliest' | 'floor' | 'ref'>,
): Date {
  const claimed = byId.get(id)?.claimed_at
  const isLast = acceptances.findLast((each) => each.id === id)?.ref === ref
  return isLast && claimed && claimed >= floor && claimed <= new Date(at.getTime() + SKEW_MS) ? claimed : earliest
}

/**
 * Whether this was handed over after a STOP. A message that was on its way when the STOP came in could not be called
 * back.
 */
function afterwards(facts: Facts, { text: _, ...acceptance }: Facts['acceptances'][number]) {
  const stop = facts.stopped.get(acceptance.to)
  const row = facts.byId.get(acceptance.id)
  const checked = checkedAt(facts, acceptance)
  // By both clocks, which may differ.
  const late =
    stop !== undefined &&
    row !== undefined &&
    MESSAGE_KINDS[row.kind].afterStop === 'not-said' &&
    checked > stop &&
    acceptance.at > stop
  return { late, stop, checked, state: row?.state, code: row?.code, claimed: row?.claimed_at, ...acceptance }
}

const unasked = ({ acceptances, byId }: Facts) =>
  acceptances.filter(({ id }) => byId.get(id)?.revision !== null && byId.has(id))

/** The network's clock may run ahead of what the service knew, and behind the clock of the machine that sent. */
function inHours(facts: Facts, acceptance: Facts['acceptances'][number]): boolean {
  return [checkedAt(facts, acceptance), acceptance.at, new Date(acceptance.at.getTime() + SKEW_MS)].some((moment) => {
    const { hour, minute } = DateTime.fromJSDate(moment, { zone: ZONE })
    const minutes = hour * 60 + minute
    return minutes >= 9 * 60 && minutes <= 20 * 60
  })
}

/**
 * First acceptances of what counts towards the cap, by number: when the service looked, and when the network took it.
 * What a fault left in doubt, and was given up before it was sent again, the service cannot count.
 */
function phonesOf(facts: Facts): [string, Date[], Date[]][] {
  const phones = new Map<string, [string, Date[], Date[]]>()
  const seen = new Set<string>()
  for (const acceptance of facts.acceptances) {
    const { id, to, at } = acceptance
    const row = facts.byId.get(id)
    if (!row?.unsolicited || row.fallback_of || seen.has(id) || isGivenUp(facts, row)) continue
    seen.add(id)
    const [, checked, taken] = phones.get(to) ?? [to, [], []]
    phones.set(to, [to, [...checked, checkedAt(facts, acceptance)], [...taken, at]])
  }
  return [...phones.values()]
}

const isGivenUp = ({ doubts }: Facts, { id, state }: Row) => doubts.has(id) && ['withdrawn', 'expired'].includes(state)

function withinCap(sent: readonly Date[]): boolean {
  const days = sent
    .map((at) => Math.floor(DateTime.fromJSDate(at, { zone: ZONE }).startOf('day').toMillis() / 86_400_000))
    .sort((a, b) => a - b)
  const aDay = days.every((day) => days.filter((other) => other === day).length <= 1)
  const aWeek = days.every((day) => days.filter((other) => other >= day && other < day + 7).length <= 3)
  return aDay && aWeek
}
