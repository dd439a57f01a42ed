import type { Message } from '../../domain/messages/message.ts'
import type { Turn } from '../ports/gateway.ts'
import type { Deps } from '../ports/deps.ts'
import type { PlaceTurn } from './waiting-line.ts'

/**
 * The turns of messages at their gateways, null where none is needed: one that was waited for, or one that is free this
 * moment. A message that is not in it must wait. Answers come before what was planned; and while anything waits here,
 * nothing overtakes it.
 *
 * @param given the turn that was waited for
 * @param taken gets the turns that were free, for whoever gives them back when nothing comes of it
 */
export function takeTurns(
  deps: Deps,
  messages: readonly Message[],
  given: (message: Message) => PlaceTurn | undefined,
  taken: Turn[],
): Map<string, PlaceTurn | null> {
  const turns = new Map<string, PlaceTurn | null>()
  const answersFirst = [...messages].sort((a, b) => Number(a.revision !== null) - Number(b.revision !== null))
  for (const message of answersFirst) {
    const turn = turnOf(deps, message, given(message), taken)
    if (turn !== undefined) turns.set(message.id, turn)
  }
  return turns
}

function turnOf(
  { gateways, worker }: Deps,
  { gateway, channel }: Message,
  given: PlaceTurn | undefined,
  taken: Turn[],
): PlaceTurn | null | undefined {
  const there = gateways.get(gateway)
  if (!there?.turn || !there.channels.includes(channel)) return null
  if (given?.gateway === gateway && given.channel === channel) return given
  const turn = worker.waiting.size === 0 ? there.turnAtOnce?.(channel) : undefined
  if (!turn) return undefined
  taken.push(turn)
  return { gateway, channel, turn }
}
