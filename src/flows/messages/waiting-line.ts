import type { Channel } from '../../domain/messages/texts/kinds.ts'
import type { Turn } from '../ports/gateway.ts'
import type { Deps } from '../ports/deps.ts'
import type { SendJob } from '../ports/jobs.ts'

/** Where a message must wait for its turn. */
export interface Place {
  gateway: string
  channel: Channel
}

/** A turn at that place. */
export interface PlaceTurn extends Place {
  turn: Turn
}

/** How a message that waits is known: a plan that was made anew has messages of its own. */
export function waitKey({ messageId, revision }: Pick<SendJob, 'messageId' | 'revision'>): string {
  return `${messageId} ${revision}`
}

/** Messages that wait until their gateway may put another on the wire: unclaimed, so that all may still change. */
export interface WaitingLine {
  add(job: SendJob, place: Place): void
  /** Ends the waiting. @returns those that waited, for whoever comes next. */
  stop(): SendJob[]
}

interface Line {
  place: Place
  answers: SendJob[]
  planned: SendJob[]
  moving: boolean
}

/**
 * A line for each gateway and channel. Answers, and what the desk wrote, go before what was planned; among their like,
 * who comes first goes first. The next one leaves as soon as there is a turn, whatever became of the one before.
 *
 * @param go gives the turn back in the end.
 */
export function createWaitingLine(
  { gateways, worker }: Deps,
  go: (job: SendJob, turn: PlaceTurn) => void,
): WaitingLine {
  const lines = new Map<string, Line>()
  const over = new AbortController()

  async function move(line: Line): Promise<void> {
    if (line.moving) return
    line.moving = true
    while (line.answers.length + line.planned.length > 0) {
      const turn = await gateways.get(line.place.gateway)!.turn!(line.place.channel, over.signal)
      if (!turn) break
      const next = line.answers.shift() ?? line.planned.shift()
      if (!next) {
        turn.release()
        break
      }
      worker.waiting.delete(waitKey(next))
      go(next, { ...line.place, turn })
    }
    line.moving = false
  }

  return {
    add: (job, place) => {
      const key = `${place.gateway} ${place.channel}`
      const line = lines.get(key) ?? { place, answers: [], planned: [], moving: false }
      lines.set(key, line)
      ;(job.revision === null ? line.answers : line.planned).push(job)
      worker.waiting.add(waitKey(job))
      void move(line)
    },
    stop: () => {
      over.abort()
      return [...lines.values()].flatMap(({ answers, planned }) => [...answers.splice(0), ...planned.splice(0)])
    },
  }
}
