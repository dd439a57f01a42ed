import type { IncomingMessage, ServerResponse } from 'node:http'
import { Failure } from '../../domain/failure.ts'

/** Nothing that is sent to the API is nested half as deep. */
const DEEPEST = 32
const [QUOTE, BACKSLASH] = [0x22, 0x5c]
const OPENING = new Set([0x5b, 0x7b])
const CLOSING = new Set([0x5d, 0x7d])

/** How deep lists and objects are nested in a JSON text, whether or not it is a good one. */
function depthOf(json: Uint8Array): number {
  let [depth, deepest, inText] = [0, 0, false]
  for (let at = 0; at < json.length; at++) {
    const sign = json[at]!
    if (sign === BACKSLASH && inText) at++
    else if (sign === QUOTE) inText = !inText
    else if (inText) continue
    else if (OPENING.has(sign)) deepest = Math.max(deepest, ++depth)
    else if (CLOSING.has(sign)) depth--
  }
  return deepest
}

/** Before it is read, since what looks through the body later goes as deep as it is. @throws bad-json */
export function refuseDeep(_request: IncomingMessage, _response: ServerResponse, body: Buffer): void {
  if (depthOf(body) > DEEPEST)
    throw new Failure('bad-json', { message: `Nest lists and objects at most ${DEEPEST} deep.` })
}
