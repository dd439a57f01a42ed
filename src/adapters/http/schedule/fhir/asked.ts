import type { Request } from 'express'
import type { Identified } from '../../../../flows/ports/schedule.ts'

/** Headers of FHIR R4 that say how something is to be taken (http.html). */
export interface Wishes {
  /** Null = whatever version there is. */
  ifMatch: number | null
  unlessKnown: Identified | null
  answer: 'minimal' | 'representation' | 'OperationOutcome'
}

/** @returns what cannot be granted, in words */
export function wishesOf(request: Request): Wishes | { fault: string } {
  const ifMatch = versionIn(request.get('If-Match'))
  const unlessKnown = identifierIn(request.get('If-None-Exist'))
  if (ifMatch === undefined) return { fault: BAD_VERSION }
  if (unlessKnown === undefined) return { fault: BAD_CRITERIA }
  const [, answer] = /(?:^|[,;\s])return=(minimal|representation|OperationOutcome)(?:$|[,;\s])/i.exec(
    request.get('Prefer') ?? '',
  ) ?? [null, 'OperationOutcome']
  return { ifMatch, unlessKnown, answer: answer as Wishes['answer'] }
}

export const BAD_VERSION = 'If-Match: give one version as it was told in ETag, e.g. W/"3".'
export const BAD_CRITERIA =
  'If-None-Exist: only an appointment’s number can be asked for, as identifier=system|value, and nothing besides.'

/** A version as an ETag has it; null = none was named; undefined = it cannot be read. */
export function versionIn(written: unknown): number | null | undefined {
  if (written === undefined) return null
  const [, version] = /^\s*(?:W\/)?"(\d{1,9})"\s*$/.exec(typeof written === 'string' ? written : '') ?? []
  return version === undefined ? undefined : Number(version)
}

/** Criteria of a conditional create; null = none; undefined = they are not understood. */
export function identifierIn(written: unknown): Identified | null | undefined {
  if (written === undefined) return null
  if (typeof written !== 'string') return undefined
  const [only, ...more] = [...new URLSearchParams(written.replace(/^[^?]*\?/, ''))]
  if (!only || more.length > 0 || only[0] !== 'identifier') return undefined
  const [, system, value] = /^([^|]+)\|([^|,]+)$/.exec(only[1]) ?? []
  return system === undefined ? undefined : { system, value: value! }
}
