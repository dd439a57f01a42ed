import express, { type Request, type RequestHandler } from 'express'
import { Failure } from '../../../../domain/failure.ts'
import { isObject, type Raw } from '../../../schedule/fhir/strict.ts'
import { refuseDeep } from '../../json-depth.ts'
import { speaksFhir } from './address.ts'

const TYPES = ['application/fhir+json', 'application/json']
const asBytes = express.raw({ limit: '5mb', type: () => true })

/** Keeps what is sent to a FHIR endpoint as bytes, apart: nobody looks for ids of ours in it. */
export const fhirBodies: RequestHandler = (request, response, next) => {
  const sends = request.method === 'POST' || request.method === 'PUT'
  if (!sends || !speaksFhir(request)) return next()
  if (!request.is(TYPES) && request.get('Content-Type') !== undefined)
    return next(new Failure('not-json', { message: 'Send FHIR R4 as "Content-Type: application/fhir+json".' }))
  asBytes(request, response, (error?: unknown) => {
    const body: unknown = request.body
    request.messages = Buffer.isBuffer(body) ? body : Buffer.alloc(0)
    request.body = undefined
    next(
      isTooLarge(error) ? new Failure('too-large', { message: 'Send at most 5 MB; more in several bundles.' }) : error,
    )
  })
}

const isTooLarge = (error: unknown) =>
  typeof error === 'object' && error !== null && 'type' in error && error.type === 'entity.too.large'

const UTF8 = new TextDecoder('utf-8', { fatal: true })

/**
 * The resource that was sent. References to this very endpoint, by whatever name it was called, are plain ones.
 * @param path of the endpoint
 * @throws bad-json
 */
export function resourceIn({ messages = Buffer.alloc(0) }: Request, path: string): Raw {
  refuseDeep(undefined as never, undefined as never, messages)
  const sent = parsed(messages, path)
  if (!isObject(sent)) throw badJson('The body is no FHIR resource: send one as a JSON object.')
  return sent
}

function parsed(bytes: Buffer, path: string): unknown {
  const own = (written: string) => {
    const at = written.indexOf(`${path}/`)
    return at > 0 && /^https?:\/\/[^/]+$/.test(written.slice(0, at)) ? written.slice(at) : written
  }
  const plain = (name: string, value: unknown) => {
    if (typeof value !== 'string') return value
    // Neither stands in a text, and the database takes both for a fault.
    if (value.includes('\u0000')) throw badJson('Leave out the sign with code 0: it is part of no text.')
    const whole = Buffer.from(value, 'utf8').toString('utf8')
    return name === 'reference' || name === 'fullUrl' ? own(whole) : whole
  }
  try {
    return JSON.parse(UTF8.decode(bytes), plain)
  } catch (error) {
    if (error instanceof Failure) throw error
    throw badJson('The body is not valid JSON in UTF-8. Check quotes, commas and brackets.')
  }
}

const badJson = (message: string) => new Failure('bad-json', { message })
