import { DateTime } from 'luxon'
import type { SendOutcome } from '../../../flows/ports/gateway.ts'
import { safeCode } from '../safe-code.ts'
import type { WireAnswer, WireFault } from './exchange.ts'
import type { HttpConfig, Rule } from './http-config.ts'
import type { Letter } from './letter.ts'
import { pick, taker, type Take } from './letter.ts'

export type ReadAnswer = (answer: WireAnswer | WireFault, now: Date) => SendOutcome

type Meaning = Rule['means']

interface ReadyRule {
  matches: (answer: WireAnswer) => boolean
  means: Meaning
  code: Take | undefined
}

/**
 * Used after the rules of the configuration. Cautious on purpose: a status of 500, 502 or 504 does not say that
 * the message was dropped (504 means that somebody behind the peer was slow), so its fate is unknown.
 */
const USUAL: [pattern: RegExp, means: Meaning][] = [
  [/^2/, 'accepted'],
  [/^(3..|401|402|403|404|405|407)$/, 'misconfigured'],
  [/^429$/, 'throttled'],
  [/^503$/, 'later'],
  [/^408$/, 'unknown'],
  [/^4/, 'rejected'],
]

/** Makes the rules of a configuration ready. The first that matches decides. */
export function answerReader(config: Pick<HttpConfig, 'answers' | 'ref'>): ReadAnswer {
  const rules = config.answers.map(readyRule)
  const ref = config.ref === undefined ? undefined : taker(config.ref)
  const ownSuccess = rules.some(({ means }) => means === 'accepted')
  return (answer, now) => {
    if ('fault' in answer) return outcomeOfFault(answer)
    const rule = rules.find((one) => one.matches(answer))
    const means = rule?.means ?? usualMeaning(answer.status, ownSuccess)
    return outcome(means, codeOf(rule, answer), ref?.(answer.letter), retryAfterMs(answer.letter, now))
  }
}

function readyRule(rule: Rule): ReadyRule {
  const { status, body, json = {}, means, code } = rule
  const class_ = typeof status === 'string' ? status[0] : undefined
  const matches = ({ status: given, letter }: WireAnswer) =>
    (status === undefined || given === status || String(given)[0] === class_) &&
    (body?.test(letter.text()) ?? true) &&
    Object.entries(json).every(([path, pattern]) => pattern.test(String(pick(letter.json(), path) ?? '')))
  return { matches, means, code: code === undefined ? undefined : taker(code) }
}

/** Where the description says how success looks, an answer of another look is none: nobody knows what it says. */
function usualMeaning(status: number, ownSuccess: boolean): Meaning {
  if (ownSuccess && status >= 200 && status < 300) return 'unknown'
  return USUAL.find(([pattern]) => pattern.test(String(status)))?.[1] ?? 'unknown'
}

function outcomeOfFault({ fault, code }: WireFault): SendOutcome {
  if (fault === 'not-sent') return { kind: 'later', code }
  return { kind: fault === 'untrusted' ? 'misconfigured' : 'unknown', code }
}

/** The peer's code if it is short and can hold no phone number, else the status. */
function codeOf(rule: ReadyRule | undefined, { status, letter }: WireAnswer): string {
  const given = rule?.code?.(letter)
  return safeCode(given) ?? `http-${status}`
}

function outcome(kind: Meaning, code: string, ref: string | undefined, retry: number | undefined): SendOutcome {
  if (kind === 'accepted') return ref === undefined || ref === '' ? { kind } : { kind, ref }
  const again = retry === undefined ? {} : { retryAfterMs: retry }
  return kind === 'later' || kind === 'throttled' ? { kind, code, ...again } : { kind, code }
}

/** `Retry-After` in seconds or as an HTTP date (RFC 9110 §10.2.3). */
function retryAfterMs(letter: Letter, now: Date): number | undefined {
  const value = letter.headers['retry-after']
  if (value === undefined) return undefined
  if (/^\d{1,6}$/.test(value)) return Number(value) * 1000
  const until = DateTime.fromHTTP(value)
  return until.isValid ? Math.max(0, until.toMillis() - now.getTime()) : undefined
}
